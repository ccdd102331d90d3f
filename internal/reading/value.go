package reading

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
)

// overload is the smallest magnitude of the numbers that instruments send for "no value": ±9.9E37
// is infinity and 9.91E37 not a number (SCPI-1999, volume 1, as restated by makers' manuals).
const overload = 9.9e37

// absoluteZero is 0 K in °C, by definition of the Celsius scale (SI Brochure, 9th
// edition; FROM MEMORY).
const absoluteZero = -273.15

// unit is a unit that a file may use: per of it make one SI unit.
type unit struct {
	quantity run.Quantity
	per      float64
}

// units holds both characters that people type for micro: U+00B5 and U+03BC.
var units = map[string]unit{
	"V": {run.Voltage, 1}, "mV": {run.Voltage, 1e3},
	"uV": {run.Voltage, 1e6}, "\u00b5V": {run.Voltage, 1e6}, "\u03bcV": {run.Voltage, 1e6},
	"A": {run.Current, 1}, "mA": {run.Current, 1e3},
	"uA": {run.Current, 1e6}, "\u00b5A": {run.Current, 1e6}, "\u03bcA": {run.Current, 1e6},
	"degC": {run.Temperature, 1}, "°C": {run.Temperature, 1},
}

// Units returns the units of a quantity that messages name; the SI unit comes first.
func Units(q run.Quantity) []string { return unitsOf[q] }

var unitsOf = [...][]string{{"V", "mV", "uV"}, {"A", "mA", "uA"}, {"degC"}}

// Unit returns the SI unit of a quantity (degC for a temperature) as readings write it.
func Unit(q run.Quantity) string { return unitsOf[q][0] }

// Value returns the SI value (V, A, or °C) of a number and a unit as written. The
// number is a decimal one, with or without a point and an exponent; hexadecimal
// numbers, infinities and an instrument's overload number are refused. The
// error is a fault.Fault whose key is "value" or "unit".
func Value(q run.Quantity, text, unitName string) (float64, error) {
	u, known := units[unitName]
	switch {
	case !known:
		return 0, fault.Fault{Key: "unit", Text: fmt.Sprintf("%q is not a unit", unitName),
			Hint: "known: " + strings.Join(unitsOf[q], ", ")}
	case u.quantity != q:
		return 0, fault.Fault{Key: "unit", Text: fmt.Sprintf("a %s is not given in %s", q, unitName),
			Hint: "known: " + strings.Join(unitsOf[q], ", ")}
	case !IsDecimal(text):
		return 0, fault.Fault{Key: "value", Text: fmt.Sprintf("%q is not a decimal number", text),
			Hint: numberHint(text)}
	}
	number, err := strconv.ParseFloat(text, 64)
	if err != nil || math.Abs(number) >= overload {
		return 0, fault.Fault{Key: "value", Text: fmt.Sprintf("%.40s is not a measured value", text),
			Hint: "an instrument sends 9.9E37 and more for overload or no value"}
	}
	value := number / u.per
	if q == run.Temperature && value < absoluteZero {
		return 0, fault.Fault{Key: "value", Text: text + " °C is below absolute zero"}
	}
	return value, nil
}

// PerSI returns how many of a unit make one SI unit (°C for a temperature); ok is
// false where the quantity is not given in it.
func PerSI(q run.Quantity, unitName string) (per float64, ok bool) {
	u, known := units[unitName]
	return u.per, known && u.quantity == q
}

// IsDecimal reports whether s is a number in one of the forms NR1 (12), NR2 (1.2)
// and NR3 (1.2E+1) of IEEE 488.2; strconv alone would take 0x1p4, 1_000 and inf.
func IsDecimal(s string) bool {
	s = unsigned(s)
	whole, s := digits(s)
	part := 0
	if strings.HasPrefix(s, ".") {
		part, s = digits(s[1:])
	}
	if whole+part == 0 {
		return false
	}
	if strings.HasPrefix(s, "e") || strings.HasPrefix(s, "E") {
		var exponent int
		exponent, s = digits(unsigned(s[1:]))
		return exponent > 0 && s == ""
	}
	return s == ""
}

// IsOverload reports whether a text is what a meter's display shows beyond its range: OL,
// with a decimal point anywhere, or 0L.
func IsOverload(text string) bool {
	if len(text) > len("-.0.L.") || !strings.ContainsAny(text, "Ll") {
		return false
	}
	bare := strings.ToUpper(strings.ReplaceAll(unsigned(text), ".", ""))
	return bare == "OL" || bare == "0L"
}

// unsigned removes a sign from the start of s.
func unsigned(s string) string {
	if s != "" && (s[0] == '+' || s[0] == '-') {
		return s[1:]
	}
	return s
}

// digits counts the digits at the start of s and returns the rest.
func digits(s string) (int, string) {
	n := 0
	for n < len(s) && '0' <= s[n] && s[n] <= '9' {
		n++
	}
	return n, s[n:]
}

// numberHint returns the likely mistake in a text that is not a number.
func numberHint(text string) string {
	switch {
	case text == "":
		return "the field is empty; --skip-bad leaves out lines without a value"
	case IsDecimal(strings.TrimSpace(text)):
		return "take the spaces away"
	case IsDecimal(strings.Replace(text, ",", ".", 1)):
		return "decimals are set off by a point"
	case IsDecimal(strings.Replace(text, "−", "-", 1)):
		return "the minus sign is the plain hyphen"
	}
	return "such as 4.812, -0.3 or 1.2E-3"
}

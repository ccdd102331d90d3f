// Package board reads the lines that a sensor board prints, in the form that a
// profile gives.
//
// A line is read whole or not at all: one that the pattern does not match, or
// that holds a number that is none, gives an error and no value. Values are SI
// (°C for a temperature). The package keeps no state between lines, and knows no
// port and no clock.
package board

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"ohmkeep/internal/profile"
	"ohmkeep/internal/run"
)

// Value is one value of a line.
type Value struct {
	Channel  string
	Quantity run.Quantity
	SI       float64 // V, A or °C; 0 where the value is not usable
	// Text and Unit are the value as a reading writes it: the board's own digits,
	// or for register counts the number that they stand for.
	Text, Unit string
	Raw        string // as sent
	Fault      string // why the value means nothing; "" = it is good
}

// ErrForm is inside the error of a line that the profile's pattern does not match.
var ErrForm = errors.New("not of the profile's form")

// Parse reads one line without its end. A comment gives no values and no error.
func Parse(l profile.Line, line string) ([]Value, error) {
	if l.Comment != "" && strings.HasPrefix(line, l.Comment) {
		return nil, nil
	}
	if bad := strings.IndexFunc(line, func(r rune) bool { return r == utf8.RuneError || unicode.IsControl(r) }); bad >= 0 {
		return nil, fmt.Errorf("%w: byte %d is not text", ErrForm, bad+1)
	}
	match := l.Pattern.FindStringSubmatch(line)
	if match == nil {
		return nil, ErrForm
	}
	group := func(name string) string {
		if i := l.Pattern.SubexpIndex(name); name != "" && i >= 0 {
			return match[i]
		}
		return ""
	}
	channel := "1"
	if l.Pattern.SubexpIndex(profile.GroupID) >= 0 {
		channel = group(profile.GroupID)
	}
	if complaint := group(profile.GroupFault); complaint != "" {
		return faulty(l, channel, complaint), nil
	}
	var values []Value
	for _, f := range l.Fields {
		raw := group(f.Group)
		if raw == "" {
			continue // an optional part of the pattern
		}
		v, err := read(f, raw, group(f.UnitGroup))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", f.Group, err)
		}
		v.Channel = channel
		values = append(values, v)
	}
	if len(values) == 0 {
		return nil, fmt.Errorf("%w: it holds no value", ErrForm)
	}
	return values, nil
}

// read turns one group into a value.
func read(f profile.Field, raw, sentUnit string) (Value, error) {
	if f.Counts {
		return readCounts(f, raw)
	}
	unit := f.Unit
	if f.UnitGroup != "" {
		unit = sentUnit
	}
	u, ok := units[unit]
	if !ok {
		return Value{}, fmt.Errorf("%q is no unit that is read", unit)
	}
	x, err := decimal(raw)
	if err != nil {
		return Value{}, err
	}
	return Value{Quantity: u.quantity, SI: x / u.per, Text: raw, Unit: unit, Raw: raw}, nil
}

// readCounts turns the counts of a register into a value. Beyond the field's
// lowest and highest the sensor is at the end of its scale, whatever is there.
func readCounts(f profile.Field, raw string) (Value, error) {
	counts, err := strconv.ParseInt(raw, 10, 64)
	if err != nil {
		return Value{}, fmt.Errorf("%q is no whole number", raw)
	}
	v := Value{Quantity: f.Quantity, Unit: siUnit[f.Quantity], Raw: raw}
	if counts < f.Lowest || counts > f.Highest {
		v.Fault = "saturated: " + raw + " counts"
		return v, nil
	}
	// Twelve digits are more than any register holds, and drop the binary
	// rounding of the product; the value is what the text says.
	v.Text = shortest(float64(counts) * f.PerCount)
	if v.SI, err = decimal(v.Text); err != nil {
		return Value{}, err
	}
	return v, nil
}

// faulty gives the values that a board says it could not measure.
func faulty(l profile.Line, channel, complaint string) []Value {
	var values []Value
	for _, f := range l.Fields {
		q := f.Quantity
		if u, ok := units[f.Unit]; ok {
			q = u.quantity
		} else if !f.Counts {
			continue // its quantity is in the unit, which the board did not send
		}
		values = append(values, Value{Channel: channel, Quantity: q, Unit: siUnit[q], Raw: complaint,
			Fault: "the board says: " + complaint})
	}
	return values
}

// shortest writes a number with at most twelve significant digits.
func shortest(x float64) string {
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'e', 11, 64), 64)
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

// decimal reads a finite decimal number: no hexadecimal, no infinity, no
// underscores, no blanks.
func decimal(s string) (float64, error) {
	if s == "" || strings.Trim(s, "0123456789+-.eE") != "" {
		return 0, fmt.Errorf("%q is no decimal number", s)
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(x, 0) {
		return 0, fmt.Errorf("%q is no decimal number", s)
	}
	return x, nil
}

// unit is what a reading's unit stands for: the value over per is SI.
type unit struct {
	quantity run.Quantity
	per      float64
}

// A division by a power of ten rounds once; a product with 0.001 twice.
var units = map[string]unit{
	"V": {run.Voltage, 1}, "mV": {run.Voltage, 1e3}, "uV": {run.Voltage, 1e6},
	"A": {run.Current, 1}, "mA": {run.Current, 1e3}, "uA": {run.Current, 1e6},
	"degC": {run.Temperature, 1},
}

var siUnit = map[run.Quantity]string{run.Voltage: "V", run.Current: "A", run.Temperature: "degC"}

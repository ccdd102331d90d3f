package decimal

import (
	"fmt"
	"math"
	"math/bits"
	"strconv"
	"strings"
)

// Scale is the value of one count of a register in the unit of its readings: 0.00125 for a bus
// voltage register of 1.25 mV a count, read in volts. It is stored beside the counts, so that a
// wrong shunt resistance can be corrected for old readings.
type Scale struct {
	mantissa int64
	exponent int
}

// ParseScale parses a scale such as "0.00125", "2.5E-6" or "0.00127551020408163": a number other
// than 0 with up to fifteen significant digits.
func ParseScale(text string) (Scale, error) {
	wrong := func(why string) (Scale, error) {
		return Scale{}, fmt.Errorf("%q is not what a count can stand for: %s", text, why)
	}
	digits, power, hasPower := strings.Cut(strings.ToLower(text), "e")
	var s Scale
	if hasPower {
		var err error
		if s.exponent, err = strconv.Atoi(power); err != nil {
			return wrong("its exponent is not a number")
		}
	}
	whole, fraction, hasPoint := strings.Cut(digits, ".")
	if digits := strings.TrimLeft(whole, "+-"); digits == "" || len(whole)-len(digits) > 1 || hasPoint && fraction == "" ||
		strings.Trim(digits+fraction, "0123456789") != "" {
		return wrong("it is not a decimal number")
	}
	s.exponent -= len(fraction)
	var err error
	if s.mantissa, err = strconv.ParseInt(whole+fraction, 10, 64); err != nil || max(s.mantissa, -s.mantissa) > MaxCount {
		return wrong("it has more than fifteen digits")
	}
	switch {
	case s.mantissa == 0:
		return wrong("it is 0")
	case s.exponent < -60 || s.exponent > 60:
		return wrong("its exponent is out of all proportion")
	}
	return s, nil
}

// Text returns the exact product of a count and the scale as a decimal number.
// Products of 19 digits and more are rounded to 15.
func (s Scale) Text(count int64) string {
	high, low := bits.Mul64(uint64(max(count, -count)), uint64(max(s.mantissa, -s.mantissa)))
	negative := (count < 0) != (s.mantissa < 0)
	switch {
	case high != 0 || low > MaxCount*1000 || s.exponent < -18:
		return strconv.FormatFloat(s.Value(count), 'g', 15, 64)
	case low == 0:
		negative = false
	}
	product := int64(low)
	if negative {
		product = -product
	}
	if s.exponent > 0 {
		return strconv.FormatInt(product, 10) + "E" + strconv.Itoa(s.exponent)
	}
	return Form{Decimals: -s.exponent}.Text(product)
}

// Value returns the product of a count and the scale.
func (s Scale) Value(count int64) float64 {
	return PowerOfTen(float64(count)*float64(s.mantissa), s.exponent)
}

// Parts returns the scale as a whole number times a power of ten.
func (s Scale) Parts() (mantissa float64, exponent int) { return float64(s.mantissa), s.exponent }

// PowerOfTen returns x·10^e. If x is an exact whole number and e is -22 to 22, it is rounded only
// once and equals the parsed decimal number.
func PowerOfTen(x float64, e int) float64 {
	switch {
	case e == 0:
		return x
	case -22 <= e && e < 0:
		return x / powers[-e]
	case 0 < e && e <= 22:
		return x * powers[e]
	}
	return x * math.Pow10(e)
}

// powers are all powers of ten that are exact as a float64.
var powers = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

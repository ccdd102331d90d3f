// Package number formats numbers for people: with significant digits only, a typographic minus
// sign (U+2212), and "?" for numbers that are not finite.
package number

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Milliohms writes a resistance in ohms as milliohms without a unit, to the hundredth
// below 10, to the tenth below 1000 and whole from there; from 10 kΩ in kiloohms.
func Milliohms(ohms float64) string {
	v := ohms * 1000
	switch size := math.Abs(v); {
	case math.IsNaN(v), math.IsInf(v, -1):
		return "?"
	case math.IsInf(v, 0):
		return "∞"
	case size >= 1e9:
		return strconv.FormatFloat(v, 'g', 2, 64)
	case size >= 1e7:
		return strconv.FormatFloat(v/1e6, 'f', 0, 64) + " kΩ"
	case size >= 999.95:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case size >= 9.995:
		return strconv.FormatFloat(v, 'f', 1, 64)
	}
	return strconv.FormatFloat(v, 'f', 2, 64)
}

// MilliohmTenths writes a resistance in ohms as milliohms to the tenth, which is how a
// series is read; "–" without a number.
func MilliohmTenths(ohms float64) string {
	switch {
	case math.IsNaN(ohms):
		return "–"
	case math.IsInf(ohms, 1):
		return "∞"
	case math.IsInf(ohms, -1):
		return "−∞"
	}
	return trueMinus(fmt.Sprintf("%.1f", 1e3*ohms))
}

// SignedTenths is MilliohmTenths with a sign.
func SignedTenths(ohms float64) string {
	s := MilliohmTenths(ohms)
	if ohms < 0 || math.IsNaN(ohms) || math.IsInf(ohms, 0) {
		return s
	}
	return "+" + s
}

// Figures writes a value with n significant digits, without an exponent up to 1e9.
func Figures(v float64, n int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "?"
	}
	if size := math.Abs(v); size >= math.Pow10(n)-0.5 && size < 1e9 {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	return strconv.FormatFloat(v, 'g', n, 64)
}

// Fixed writes a value with a number of digits after the point; a value that is not finite or far
// beyond all measured ones is "?".
func Fixed(v float64, digits int) string {
	if math.IsNaN(v) || math.Abs(v) >= 1e7 {
		return "?"
	}
	return trueMinus(strconv.FormatFloat(v, 'f', digits, 64))
}

// trueMinus returns a number the sign U+2212, and a zero none.
func trueMinus(s string) string {
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return strings.Replace(s, "-", "−", 1)
}

// Percent writes a part of 1 with three significant digits.
func Percent(part float64) string {
	if math.IsNaN(part) {
		return "?"
	}
	return Figures(100*part, 3) + " %"
}

// Chance writes a probability, and never rounds it to certainty.
func Chance(p float64) string {
	switch percent := p * 100; {
	case math.IsNaN(percent):
		return "?"
	case percent < 0.1:
		return "< 0.1 %"
	case percent > 99.9:
		return "> 99.9 %"
	case percent < 10:
		return strconv.FormatFloat(percent, 'f', 1, 64) + " %"
	default:
		return strconv.FormatFloat(percent, 'f', 0, 64) + " %"
	}
}

// Count writes how many of a thing there are.
func Count[N int | int64](n N, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

package reading

import (
	"math"
	"strconv"
	"strings"
)

// Digits formats a computed number with at most twelve significant digits: more than any register
// has, and without the binary rounding of the product.
func Digits(x float64) string {
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'e', 11, 64), 64)
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

// LastDigit returns one unit of the last decimal of a reading's text, SI; 0 where it has no text.
func (x *Reading) LastDigit() float64 {
	per, known := PerSI(x.Quantity, x.Unit)
	if !known || x.Text == "" {
		return 0
	}
	digits, exponent, _ := strings.Cut(strings.ToLower(x.Text), "e")
	power := 0
	if exponent != "" {
		power, _ = strconv.Atoi(exponent)
	}
	_, decimals, _ := strings.Cut(digits, ".")
	return math.Pow(10, float64(power-len(decimals))) / per
}

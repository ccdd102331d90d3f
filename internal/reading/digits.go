package reading

import "strconv"

// Digits formats a computed number with at most twelve significant digits: more than any register
// has, and without the binary rounding of the product.
func Digits(x float64) string {
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'e', 11, 64), 64)
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

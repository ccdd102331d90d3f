// Package openmetrics writes and reads samples with their times in the text format of
// the OpenMetrics specification, version 1.0.0: gauges in families, one line a sample,
// and "# EOF" at the end.
//
// Numbers are texts here, so that what was written comes back digit by digit; times are
// nanoseconds since 1970, written as decimal seconds.
package openmetrics

import (
	"strconv"
	"strings"
)

// Label is a name and value of a sample.
type Label struct{ Name, Value string }

// Sample is one line.
type Sample struct {
	Name       string
	Labels     []Label // in the order of the line
	Value      string  // a decimal number
	At         int64   // ns since 1970
	SameLabels bool    // name and labels are those of the sample read before
}

// appendSeconds writes nanoseconds as seconds with no more decimals than needed.
func appendSeconds(b []byte, at int64) []byte {
	if at < 0 {
		b, at = append(b, '-'), -at
	}
	b = strconv.AppendInt(b, at/1e9, 10)
	rest := at % 1e9
	if rest == 0 {
		return b
	}
	b = append(b, '.')
	digits := strconv.AppendInt(nil, 1e9+rest, 10)[1:]
	for digits[len(digits)-1] == '0' {
		digits = digits[:len(digits)-1]
	}
	return append(b, digits...)
}

// nanoseconds parses decimal seconds; ok is false if the text is invalid, finer than a nanosecond
// or outside 64 bits.
func nanoseconds(text string) (at int64, ok bool) {
	whole, part, _ := strings.Cut(text, ".")
	sign := int64(1)
	if strings.HasPrefix(whole, "-") {
		whole, sign = whole[1:], -1
	}
	part = strings.TrimRight(part, "0")
	if !isDigits(whole) || len(whole) > 10 || len(part) > 9 || part != "" && !isDigits(part) {
		return 0, false
	}
	seconds, err := strconv.ParseInt(whole, 10, 64)
	if err != nil || seconds > 9_223_372_035 { // the last second that is whole in 64 bits
		return 0, false
	}
	rest, _ := strconv.ParseInt((part + "000000000")[:9], 10, 64)
	return sign * (seconds*1e9 + rest), true
}

func isDigits(s string) bool { return s != "" && strings.Trim(s, "0123456789") == "" }

// number reports whether a text is a realnumber of the specification.
func number(s string) bool {
	if s != "" && (s[0] == '+' || s[0] == '-') {
		s = s[1:]
	}
	mantissa, exponent, has := strings.Cut(strings.ToLower(s), "e")
	if has {
		if exponent != "" && (exponent[0] == '+' || exponent[0] == '-') {
			exponent = exponent[1:]
		}
		if !isDigits(exponent) {
			return false
		}
	}
	whole, part, _ := strings.Cut(mantissa, ".")
	return isDigits(whole + part)
}

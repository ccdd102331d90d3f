// Package decimal splits the number that an instrument shows into a whole count and the form
// in which it was written, and restores the text to the byte.
//
// "+4.8120E+0" is the count 48120 in the form "+0.0000E+0"; a form is written as the text of
// count 0. Counts compress well, and texts of the same place nearly always share a form. A text
// that no count and form restore exactly, such as "005.1", ".5" or "-0", has no form and is kept
// unchanged. The terms are those of JCGM 200:2012 (VIM), 4.1 "indication" (FROM MEMORY).
package decimal

import (
	"fmt"
	"strconv"
	"strings"
)

// MaxCount is the largest magnitude of a count. The sum of 2¹² counts fits into 63 bits, and each
// count is exact as a float64.
const MaxCount = 1 << 50

// Form is how a number is written. Forms can be compared with ==.
type Form struct {
	Plus     bool   // numbers of 0 and above carry a plus sign
	Decimals int    // digits after the decimal point, 0 to 15; 0 = no point
	Suffix   string // the exponent, such as "E+00"; "" = none
}

// Parse returns the count and form of a text; ok is false where it has none.
func Parse(text string) (count int64, f Form, ok bool) {
	s := text
	negative := false
	if s != "" {
		switch s[0] {
		case '-':
			negative, s = true, s[1:]
		case '+':
			f.Plus, s = true, s[1:]
		}
	}
	point, i := -1, 0
	for ; i < len(s); i++ {
		switch c := s[i]; {
		case '0' <= c && c <= '9':
			if count = count*10 + int64(c-'0'); count > MaxCount {
				return 0, Form{}, false
			}
			continue
		case c == '.' && point < 0:
			point = i
			continue
		}
		break
	}
	whole := i
	if point >= 0 {
		whole, f.Decimals = point, i-point-1
	}
	if i < len(s) {
		if f.Suffix = s[i:]; !exponent(f.Suffix) {
			return 0, Form{}, false
		}
	}
	switch {
	case whole == 0, whole > 1 && s[0] == '0', // ".5" and "005"
		point >= 0 && f.Decimals == 0, // "5."
		f.Decimals > maxDecimals,
		negative && count == 0: // "-0"
		return 0, Form{}, false
	}
	if negative {
		// A negative number can be of a form with or without a plus sign; the caller
		// chooses, see Like.
		count = -count
	}
	return count, f, true
}

const maxDecimals = 15

// Like reports whether numbers of form f may also be of form g: a negative number
// looks the same with and without plus signs on the others.
func (f Form) Like(g Form) bool {
	f.Plus = g.Plus
	return f == g
}

// exponent reports whether s is the exponent of an NR3 number (IEEE 488.2).
func exponent(s string) bool {
	if s == "" || s[0] != 'e' && s[0] != 'E' || len(s) > 6 {
		return false
	}
	digits := s[1:]
	if digits != "" && (digits[0] == '+' || digits[0] == '-') {
		digits = digits[1:]
	}
	return digits != "" && strings.Trim(digits, "0123456789") == ""
}

// Append appends the text of a count in this form.
func (f Form) Append(dst []byte, count int64) []byte {
	switch {
	case count < 0:
		dst, count = append(dst, '-'), -count
	case f.Plus:
		dst = append(dst, '+')
	}
	at := len(dst)
	dst = strconv.AppendInt(dst, count, 10)
	if f.Decimals > 0 {
		for len(dst)-at <= f.Decimals {
			dst = append(dst, 0)
			copy(dst[at+1:], dst[at:])
			dst[at] = '0'
		}
		split := len(dst) - f.Decimals
		dst = append(dst, 0)
		copy(dst[split+1:], dst[split:])
		dst[split] = '.'
	}
	return append(dst, f.Suffix...)
}

// Text returns the text of a count in this form.
func (f Form) Text(count int64) string {
	var buffer [32]byte
	return string(f.Append(buffer[:0], count))
}

// String returns the text of count 0, which ParseForm parses again.
func (f Form) String() string { return f.Text(0) }

// ParseForm is the reverse of String.
func ParseForm(s string) (Form, error) {
	count, f, ok := Parse(s)
	if !ok || count != 0 {
		return Form{}, fmt.Errorf("%q is not the form of a number", s)
	}
	return f, nil
}

// Exponent returns the power of ten of one count.
func (f Form) Exponent() int {
	e := 0
	if f.Suffix != "" {
		e, _ = strconv.Atoi(f.Suffix[1:]) // Parse has checked it
	}
	return e - f.Decimals
}

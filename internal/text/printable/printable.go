// Package printable makes text of foreign origin (names in a run file, notes in a
// file of readings) fit to be shown on one line of a terminal, a picture or a
// page.
//
// It removes what would move a cursor, turn the direction of writing or be
// illegal in XML. It does not escape for HTML or SVG: the
// packages that write those do so.
package printable

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// Line returns s as one line: white space of any kind becomes a blank, and a
// character that cannot be seen or that breaks an encoding becomes U+FFFD.
func Line(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == ' ':
			return r
		case unicode.IsSpace(r):
			return ' '
		case unicode.IsControl(r), unicode.Is(unicode.Cf, r), unicode.Is(unicode.Co, r),
			r&0xfffe == 0xfffe: // the two noncharacters that end every plane; XML forbids those of the first
			return utf8.RuneError
		}
		return r
	}, s)
}

// Short returns s as one line of at most n characters, n ≥ 1. What does not fit
// is cut in the middle, because names tend to differ at both ends.
func Short(s string, n int) string {
	if len(s) > 16*n+64 { // no need to look at every byte of a megabyte
		s = s[:8*n+32] + s[len(s)-8*n-32:]
	}
	line := []rune(Line(strings.ToValidUTF8(s, string(utf8.RuneError))))
	if len(line) <= n {
		return string(line)
	}
	tail := (n - 1) / 2
	return string(line[:n-1-tail]) + "…" + string(line[len(line)-tail:])
}

// Wrap breaks s at blanks into lines of at most n characters. A number stays
// with its unit; a longer word is cut; there is always one line.
func Wrap(s string, n int) []string {
	var lines []string
	line := []rune{}
	for _, w := range words(Line(s)) {
		if len(line) > 0 && len(line)+1+len(w) > n {
			lines, line = append(lines, string(line)), line[:0]
		}
		if len(line) > 0 {
			line = append(line, ' ')
		}
		for len(w) > n { // the line is empty here
			lines, w = append(lines, string(w[:n])), w[n:]
		}
		line = append(line, w...)
	}
	return append(lines, string(line))
}

// words splits at blanks, but not between a number and what is a unit by its looks.
func words(s string) [][]rune {
	var out [][]rune
	for _, word := range strings.Fields(s) {
		w := []rune(word)
		if last := len(out) - 1; last >= 0 && len(w) <= 4 && len(out[last]) < 12 {
			before := out[last][len(out[last])-1]
			if unicode.IsDigit(before) && strings.ContainsRune("%°VAWmΩµ", w[0]) {
				out[last] = append(append(out[last], ' '), w...)
				continue
			}
		}
		out = append(out, w)
	}
	return out
}

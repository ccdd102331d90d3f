package table

import (
	"bufio"
	"fmt"
	"strings"
	"unicode/utf8"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/text/printable"
)

// Columns of a table; none is wider than a terminal of old.
const (
	tableWidth = 80
	wordWidth  = 10 // the verdict and the gap behind it
	nameWidth  = 28
)

type table struct {
	w      *bufio.Writer
	colour bool
}

func (t table) heading(s string) { fmt.Fprintf(t.w, "\n%s\n", s) }

// word writes a verdict, padded before it is coloured.
func (t table) word(v assessment.Verdict) string {
	word := string(v)
	if v == assessment.Fail || v == assessment.Unproven {
		word = strings.ToUpper(word)
	}
	return t.paint(word, v) + strings.Repeat(" ", wordWidth-len(word))
}

// wrapped writes a text with a word before it, every line indented.
func (t table) wrapped(word, s string, indent int, v assessment.Verdict) {
	for i, part := range printable.Wrap(s, tableWidth-indent) {
		switch {
		case indent == 0:
			fmt.Fprintln(t.w, t.paint(part, v))
		case i == 0 && word != "":
			gap := max(1, indent-utf8.RuneCountInString(word))
			fmt.Fprintln(t.w, t.paint(word, v)+strings.Repeat(" ", gap)+part)
		default:
			fmt.Fprintln(t.w, strings.Repeat(" ", indent)+part)
		}
	}
}

// paint colours a word by a verdict where colour is asked for.
func (t table) paint(s string, v assessment.Verdict) string {
	code := map[assessment.Verdict]string{assessment.Fail: "1;31", assessment.Unproven: "33", assessment.Pass: "32"}[v]
	if !t.colour || code == "" || s == "" {
		return s
	}
	return "\x1b[" + code + "m" + s + "\x1b[0m"
}

// remarks writes sentences under a heading.
func (t table) remarks(heading string, texts []string) {
	if len(texts) == 0 {
		return
	}
	t.heading(heading)
	for _, s := range texts {
		for i, part := range printable.Wrap(s, tableWidth-2) {
			lead := "  "
			if i == 0 {
				lead = "- "
			}
			fmt.Fprintln(t.w, strings.TrimRight(lead+part, " "))
		}
	}
}

// left cuts or pads a text to n columns.
func left(s string, n int) string {
	s = printable.Short(s, n)
	return s + strings.Repeat(" ", n-utf8.RuneCountInString(s))
}

// right pads a text to n columns on its left.
func right(s string, n int) string {
	return strings.Repeat(" ", max(0, n-utf8.RuneCountInString(s))) + s
}

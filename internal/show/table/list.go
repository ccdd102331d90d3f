package table

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"ohmkeep/internal/result/assessment"
)

// Item is a line of a list: a head, padded so that texts stand below each other, and a text.
type Item struct{ Head, Text string }

// List writes items, on a terminal wrapped to its width: the text continues below itself, or below
// its head where the column would be too narrow. Elsewhere each item is one line.
// The error is the writer's.
func List(w io.Writer, items []Item, style Style) error {
	t := newTable(w, style)
	for _, x := range items {
		indent := utf8.RuneCountInString(x.Head)
		switch {
		case style.Columns == 0:
			fmt.Fprintln(t.w, strings.TrimRight(x.Head+x.Text, " "))
		case indent+minColumns/2 <= t.columns:
			t.wrapped(strings.TrimRight(x.Head, " "), x.Text, indent, assessment.None)
		default:
			t.wrapped("", strings.Join(strings.Fields(x.Head), " "), 0, assessment.None)
			t.wrapped("", x.Text, 2, assessment.None)
		}
	}
	return t.w.Flush()
}

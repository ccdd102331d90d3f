package table

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/text/printable"
)

// Style is how a text is laid out.
type Style struct {
	Columns int  // width of the terminal; 0 = 80; between 40 and 200
	Colour  bool // ANSI colours for the words
}

// Widths in columns.
const (
	minColumns   = 40
	maxColumns   = 200
	usualColumns = 80
	maxText      = 100 // greatest width of running text
	wordWidth    = 10  // a word before a text, and the gap behind it
	actionWidth  = 4   // a number before a text, and the gap behind it
	minName      = 16  // a column of names may be cut to this
)

type table struct {
	w       *bufio.Writer
	columns int
	colour  bool
}

func newTable(w io.Writer, s Style) table {
	columns := s.Columns
	if columns == 0 {
		columns = usualColumns
	}
	return table{w: bufio.NewWriter(w), columns: max(minColumns, min(columns, maxColumns)), colour: s.Colour}
}

func (t table) heading(s string) {
	fmt.Fprintln(t.w)
	t.wrapped("", s, 0, assessment.None)
}

// blank writes an empty line.
func (t table) blank() { fmt.Fprintln(t.w) }

// row is one line of a grid.
type row struct {
	word    string             // before the name; may be ""
	verdict assessment.Verdict // that the word is coloured by
	name    string
	cells   []string
	remarks []string // texts below the line
}

// grid writes rows below the heads of their columns, the numbers flush right. Where the
// terminal is too narrow for that, each row is a name with a list of its values below.
func (t table) grid(name string, heads []string, rows []row) {
	if len(rows) == 0 {
		return
	}
	word, names, cells := 0, utf8.RuneCountInString(name), make([]int, len(heads))
	for i, h := range heads {
		cells[i] = utf8.RuneCountInString(h)
	}
	for _, r := range rows {
		word = max(word, utf8.RuneCountInString(r.word))
		names = max(names, utf8.RuneCountInString(r.name))
		for i, c := range r.cells {
			cells[i] = max(cells[i], utf8.RuneCountInString(c))
		}
	}
	if word > 0 {
		word += 2
	}
	numbers := 0
	for _, n := range cells {
		numbers += 2 + n
	}
	room := t.columns - word - numbers
	aligned := room >= min(names, minName)
	names = min(names, room)
	if aligned {
		t.line(strings.Repeat(" ", word)+left(name, names), heads, cells)
	} else if name != "" {
		fmt.Fprintln(t.w, name)
	}
	for _, r := range rows {
		begin := ""
		if word > 0 {
			begin = t.paint(r.word, r.verdict) + strings.Repeat(" ", word-utf8.RuneCountInString(r.word))
		}
		indent := word + 2
		if aligned {
			t.line(begin+left(r.name, names), r.cells, cells)
		} else {
			indent = 2
			fmt.Fprintln(t.w, strings.TrimRight(begin+printable.Short(r.name, t.columns-word), " "))
			var list []string
			for i, c := range r.cells {
				if c = strings.Join(strings.Fields(c), " "); c != "" {
					list = append(list, strings.TrimSpace(heads[i]+" "+c))
				}
			}
			t.wrapped("", strings.Join(list, "; "), indent, assessment.None)
		}
		for _, remark := range r.remarks {
			t.wrapped("", remark, indent, assessment.None)
		}
	}
}

// line writes cells flush right behind a beginning.
func (t table) line(begin string, cells []string, widths []int) {
	for i, c := range cells {
		begin += "  " + right(c, widths[i])
	}
	fmt.Fprintln(t.w, strings.TrimRight(begin, " "))
}

// verdictWord is a verdict as printed before a name.
func verdictWord(v assessment.Verdict) string {
	if v == assessment.Fail || v == assessment.Unproven {
		return strings.ToUpper(string(v))
	}
	return string(v)
}

// wrapped writes a text with a word before it, every line indented.
func (t table) wrapped(word, s string, indent int, v assessment.Verdict) {
	if t.columns-indent < minColumns/2 {
		indent = 2
	}
	for i, part := range printable.Wrap(s, min(maxText, t.columns)-indent) {
		switch {
		case indent == 0:
			fmt.Fprintln(t.w, t.paint(part, v))
		case i == 0 && word != "" && utf8.RuneCountInString(word) >= indent:
			fmt.Fprintln(t.w, t.paint(word, v))
			fmt.Fprintln(t.w, strings.Repeat(" ", indent)+part)
		case i == 0 && word != "":
			fmt.Fprintln(t.w, t.paint(word, v)+strings.Repeat(" ", indent-utf8.RuneCountInString(word))+part)
		default:
			fmt.Fprintln(t.w, strings.Repeat(" ", indent)+part)
		}
	}
}

// paint colours a word by a verdict if colour is switched on.
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
		t.wrapped("-", s, 2, assessment.None)
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

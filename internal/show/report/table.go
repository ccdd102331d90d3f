package report

import (
	"bufio"
	"fmt"
	"io"
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

// AssessTable writes an assessment as plain text of at most 80 columns: the
// verdict, a line an element with the worst first, what was found, which
// readings to look at again and what to read next. colour adds ANSI colours to
// the words, nothing else. The error is the writer's.
func AssessTable(w io.Writer, a *assessment.Assessment, colour bool) error {
	t := table{w: bufio.NewWriter(w), colour: colour}
	text, verdict := headline(a)
	t.wrapped("", text, 0, verdict)
	if name := nameOf(a.Run); name != "" {
		t.wrapped("", "Run: "+printable.Short(name, 120), 0, assessment.None)
	}
	if text := alarm(a); text != "" {
		t.wrapped("", text, 0, assessment.Fail)
	}
	t.elements(a.Elements)
	if len(a.Findings) > 0 {
		t.heading("Findings")
		for _, f := range ranked(a.Findings) {
			verdict := assessment.None
			if f.Severity == assessment.Failing {
				verdict = assessment.Fail
			}
			t.wrapped(string(f.Severity), printable.Short(f.Subject, 60)+": "+f.Text, wordWidth, verdict)
		}
	}
	t.suspects(a.Readings)
	if len(a.Next) > 0 {
		t.heading("Read next")
		for i, n := range a.Next {
			t.wrapped(fmt.Sprintf("%d", i+1), nextText(a.Run, n), wordWidth, assessment.None)
		}
	}
	if len(a.Readings) > 0 {
		fmt.Fprintf(t.w, "\n%d readings; %s\n", len(a.Readings), fitText(a.Fit))
	}
	return t.w.Flush()
}

type table struct {
	w      *bufio.Writer
	colour bool
}

func (t table) heading(s string) { fmt.Fprintf(t.w, "\n%s\n", s) }

// elements writes one line an element.
func (t table) elements(elements []assessment.Element) {
	if len(elements) == 0 {
		return
	}
	assumed := false
	fmt.Fprintf(t.w, "\n%s%s%12s  %17s  %7s\n", left("", wordWidth), left("", nameWidth), "mΩ at 20 °C", "95 % interval", "limit")
	for _, e := range WorstFirst(elements) {
		l := lineOf(e)
		assumed = assumed || !e.Known && !e.Open()
		row := fmt.Sprintf("%s%s%s %-4s  %s … %s  %s", t.word(l.Verdict), left(l.Label, nameWidth-1)+" ",
			right(l.Value, 7), l.Unit, right(l.Low, 7), right(l.High, 7), right(l.Limit, 7))
		fmt.Fprintln(t.w, strings.TrimRight(row, " "))
		if l.Remark != "" {
			t.wrapped("", l.Remark, wordWidth+2, assessment.None)
		}
	}
	if assumed {
		fmt.Fprintf(t.w, "%s(in brackets: assumed, no reading can know it)\n", left("", wordWidth))
	}
}

// suspects lists the readings that contradict the others, by row.
func (t table) suspects(readings []assessment.Reading) {
	none := true
	for _, r := range readings {
		if !r.Suspect {
			continue
		}
		if none {
			t.heading("Look at these readings again")
			none = false
		}
		t.wrapped(fmt.Sprintf("row %d", r.Row), suspectText(r), wordWidth, assessment.None)
	}
}

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

// left cuts or pads a text to n columns.
func left(s string, n int) string {
	s = printable.Short(s, n)
	return s + strings.Repeat(" ", n-utf8.RuneCountInString(s))
}

// right pads a text to n columns on its left.
func right(s string, n int) string {
	return strings.Repeat(" ", max(0, n-utf8.RuneCountInString(s))) + s
}

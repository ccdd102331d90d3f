package table

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/printable"
)

// Assessment writes an assessment as plain text of at most 80 columns: the
// verdict, a line an element with the worst first, what was found, which
// readings to look at again and what to read next. colour adds ANSI colours to
// the words, nothing else. The error is the writer's.
func Assessment(w io.Writer, a *assessment.Assessment, colour bool) error {
	t := table{w: bufio.NewWriter(w), colour: colour}
	text, verdict := wording.Headline(a)
	t.wrapped("", text, 0, verdict)
	if name := wording.RunName(a.Run); name != "" {
		t.wrapped("", "Run: "+printable.Short(name, 120), 0, assessment.None)
	}
	if text := wording.Alarm(a); text != "" {
		t.wrapped("", text, 0, assessment.Fail)
	}
	t.elements(a.Elements)
	if len(a.Findings) > 0 {
		t.heading("Findings")
		for _, f := range wording.Ranked(a.Findings) {
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
			t.wrapped(fmt.Sprintf("%d", i+1), wording.Next(a.Run, n), wordWidth, assessment.None)
		}
	}
	if len(a.Readings) > 0 {
		fmt.Fprintf(t.w, "\n%d readings; %s\n", len(a.Readings), wording.Fit(a.Fit))
	}
	return t.w.Flush()
}

// elements writes one line an element.
func (t table) elements(elements []assessment.Element) {
	if len(elements) == 0 {
		return
	}
	assumed := false
	fmt.Fprintf(t.w, "\n%s%s%12s  %17s  %7s\n", left("", wordWidth), left("", nameWidth), "mΩ at 20 °C", "95 % interval", "limit")
	for _, e := range wording.WorstFirst(elements) {
		l := wording.LineOf(e)
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
		t.wrapped(fmt.Sprintf("row %d", r.Row), wording.Suspect(r), wordWidth, assessment.None)
	}
}

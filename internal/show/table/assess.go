package table

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// Assessment writes an assessment: what is bad, what to do, and a line for each element
// with the worst first. The error is the writer's.
func Assessment(w io.Writer, a *assessment.Assessment, style Style) error {
	t := newTable(w, style)
	text, verdict := wording.Headline(a)
	t.wrapped("", text, 0, verdict)
	if name := wording.RunName(a.Run); name != "" {
		t.wrapped("", "Run: "+printable.Short(name, 120), 0, assessment.None)
	}
	if text := wording.Alarm(a); text != "" {
		t.wrapped("", text, 0, assessment.Fail)
	}
	t.actions(wording.Actions(a))
	t.elements(a.Elements)
	if notes := wording.Notes(a.Findings); len(notes) > 0 {
		t.heading("Notes")
		for _, f := range notes {
			t.wrapped(string(f.Severity), f.Subject+": "+f.Text, wordWidth, assessment.None)
		}
	}
	if len(a.Readings) > 0 {
		t.blank()
		t.wrapped("", number.Count(len(a.Readings), "reading")+". The true value lies within the 95 % interval in 19 of 20 cases. For the readings that a verdict rests on: --explain NAME.", 0, assessment.None)
	}
	return t.w.Flush()
}

// actions writes what to do, numbered, each with its caution.
func (t table) actions(actions []wording.Action) {
	if len(actions) == 0 {
		return
	}
	t.heading("What to do")
	for i, a := range actions {
		t.wrapped(strconv.Itoa(i+1), strings.TrimSpace(a.Text+" "+a.Caution), actionWidth, assessment.None)
	}
}

// elements writes one line an element.
func (t table) elements(elements []assessment.Element) {
	if len(elements) == 0 {
		return
	}
	t.blank()
	assumed, endless := false, false
	var rows []row
	for _, e := range wording.WorstFirst(elements) {
		l := wording.LineOf(e)
		assumed, endless = assumed || !e.Known && !e.Open(), endless || wording.Endless(e)
		r := row{verdictWord(l.Verdict), l.Verdict, l.Label, []string{fmt.Sprintf("%s %-4s", l.Value, l.Unit), l.Low + " … " + right(l.High, 6), l.Limit}, nil}
		if l.Remark != "" {
			r.remarks = []string{l.Remark}
		}
		rows = append(rows, r)
	}
	t.grid("", []string{"mΩ at 20 °C", "95 % interval", "limit"}, rows)
	if assumed {
		t.wrapped("", "(in brackets: assumed, too little was read to know it)", wordWidth, assessment.None)
	}
	if endless {
		t.wrapped("", "(∞: no reading shows how high it is at most)", wordWidth, assessment.None)
	}
}

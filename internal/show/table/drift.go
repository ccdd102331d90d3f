package table

import (
	"fmt"
	"io"
	"time"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/printable"
)

// Drift writes a history, the gravest verdicts first. The error is the writer's.
func Drift(w io.Writer, h *history.History, style Style) error {
	t := newTable(w, style)
	headline, verdict := wording.DriftHeadline(h)
	t.wrapped("", headline, 0, verdict)
	if name := wording.RunName(h.Run); name != "" {
		t.wrapped("", "Run: "+printable.Short(name, 120), 0, assessment.None)
	}
	var rows []row
	for _, s := range wording.GravestFirst(h.Series) {
		l := wording.SeriesLineOf(s)
		r := row{l.Word, wording.SeriesVerdict(s), l.Label, []string{l.Ohms, l.Interval, l.Limit}, nil}
		if l.Rate != "–" {
			r.remarks = []string{"a year: " + l.Rate + " mΩ"}
		}
		r.remarks = append(r.remarks, l.Remarks...)
		rows = append(rows, r)
	}
	t.blank()
	t.grid("", []string{"mΩ at 20 °C", "95 % interval", "limit"}, rows)
	if !h.Last.IsZero() {
		check := "no check step was ever shown: joints and reels cannot be followed"
		if !h.Check.IsZero() {
			check = "last check step " + h.Check.Format(time.DateOnly)
		}
		fmt.Fprintln(t.w)
		t.wrapped("", fmt.Sprintf("last reading %s; %s", h.Last.Format(time.DateOnly), check), 0, assessment.None)
	}
	return t.w.Flush()
}

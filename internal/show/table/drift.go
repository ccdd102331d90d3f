package table

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"time"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/printable"
)

// Drift writes a history as plain text of at most 80 columns, the gravest first.
// colour adds ANSI colours to the words. The error is the writer's.
func Drift(w io.Writer, h *history.History, colour bool) error {
	t := table{w: bufio.NewWriter(w), colour: colour}
	headline, verdict := wording.DriftHeadline(h)
	t.wrapped("", headline, 0, verdict)
	if name := wording.RunName(h.Run); name != "" {
		t.wrapped("", "Run: "+printable.Short(name, 120), 0, assessment.None)
	}
	if len(h.Series) > 0 {
		fmt.Fprintf(t.w, "\n%s%s%12s  %17s  %7s\n", left("", driftWord), left("", nameWidth-4), "mΩ at 20 °C", "95 % interval", "limit")
	}
	for _, s := range wording.GravestFirst(h.Series) {
		l := wording.SeriesLineOf(s)
		word := string(l.Verdict)
		gap := strings.Repeat(" ", max(1, driftWord-len(word)))
		fmt.Fprintln(t.w, strings.TrimRight(fmt.Sprintf("%s%s%s %s  %17s  %7s", t.paint(word, wording.SeriesVerdict(s)), gap, left(l.Label, nameWidth-4),
			right(l.Ohms, 11), right(l.Interval, 17), right(l.Limit, 7)), " "))
		if l.Rate != "–" {
			t.wrapped("", "a year: "+l.Rate+" mΩ", driftWord+2, assessment.None)
		}
		for _, remark := range l.Remarks {
			t.wrapped("", remark, driftWord+2, assessment.None)
		}
	}
	if !h.Last.IsZero() {
		check := "no check step was ever shown: joints and reels cannot be followed"
		if !h.Check.IsZero() {
			check = "last check step " + h.Check.Format(time.DateOnly)
		}
		fmt.Fprintf(t.w, "\nlast reading %s; %s\n", h.Last.Format(time.DateOnly), check)
	}
	return t.w.Flush()
}

const driftWord = 14 // the widest verdict and the gap behind it

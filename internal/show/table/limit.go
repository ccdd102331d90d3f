package table

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"ohmkeep/internal/advise/repair"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// Limit writes the highest safe load of a run: the safe limiter, the level of each colour and the
// limit that is reached first, and the safe limiter after each repair. The error is the writer's.
func Limit(w io.Writer, l *repair.Loads, style Style) error {
	t := newTable(w, style)
	headline, verdict := wording.LoadHeadline(l)
	text := strings.ToUpper(string(verdict)) + ": " + headline
	t.wrapped("", text, 0, verdict)
	t.wrapped("", "Run: "+printable.Short(wording.RunName(l.Basis.Run), 120)+known(l.Basis), 0, assessment.None)
	if l.Basis.Unexplained {
		t.wrapped("", "No resistances explain the readings: rely on none of these numbers.", 0, assessment.Unproven)
	}
	t.heading("Each colour as wired: the level up to which everything holds")
	for _, c := range l.Colours {
		t.load(c)
	}
	if len(l.After) > 0 {
		t.heading("The safe limiter after a repair, the highest first, and the limit reached then")
		for _, c := range highestFirst(l.After) {
			safe, decides := repair.Limiter(c.Colours)
			text := printable.Line(c.Repair.Text)
			if decides < 0 {
				text += ": every colour holds at full level"
			} else {
				text += ": " + wording.Binding(c.Colours[decides])
			}
			t.wrapped(right(number.Fixed(safe.Value, 2), 6)+" A", text, wordWidth, assessment.None)
		}
	}
	t.remarks("Assumed", append(append([]string{}, l.Assumed...), wording.EvenLight, wording.LimiterCounts))
	t.remarks("Cautions", wording.LoadCautions)
	return t.w.Flush()
}

// highestFirst returns repairs in the order of the limiter that is safe after them.
func highestFirst(after []repair.Change) []repair.Change {
	sorted := slices.Clone(after)
	slices.SortStableFunc(sorted, func(a, b repair.Change) int {
		x, _ := repair.Limiter(a.Colours)
		y, _ := repair.Limiter(b.Colours)
		return cmp.Compare(y.Value, x.Value)
	})
	return sorted
}

func (t table) load(c repair.Load) {
	e := c.Effect
	t.wrapped(verdictWord(e.Verdict), printable.Short(c.Mix.Name, 120), wordWidth, e.Verdict)
	t.wrapped("", wording.Level(e), wordWidth+2, assessment.None)
	t.wrapped("", "first limit reached: "+wording.Binding(e), wordWidth+2, assessment.None)
	for _, turn := range e.Rating.NonMonotonic {
		t.wrapped("", fmt.Sprintf("at some levels more light brings the %s further from its limit, so more levels were tried", turn), wordWidth+2, assessment.None)
	}
}

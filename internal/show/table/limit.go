package table

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"ohmkeep/internal/advise/interval"
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
	effects := l.Effects()
	safe, decides := repair.Limiter(effects)
	verdict := l.Verdict()
	word := strings.ToUpper(string(verdict))
	text := fmt.Sprintf("%s: set the limiter to at most %s A", word, number.Fixed(cautious(safe, l.Basis), 2))
	switch {
	case decides < 0:
		text = word + ": every colour of the run's steps holds at full level"
	case effects[decides].Rating.Dark():
		text = word + ": no limiter is low enough; even in the dark a limit is broken"
	}
	switch {
	case remains(l):
		text += "; " + wording.Remaining(effects[0]) + ": a bad contact gets worse at any load"
	case verdict == assessment.Fail && l.Design >= 0:
		text += "; the design step is too bright for it as wired"
	case verdict == assessment.Fail:
		text += "; the steps as stated are too bright"
	}
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
	t.remarks("Assumed", append(append([]string{}, l.Assumed...), wording.EvenLight,
		"The limiter counts every pixel at its rated volts by the run file's figures, as a controller does."))
	t.remarks("Cautions", []string{"A limiter in a controller is not a fuse: fuse each feed near its supply.",
		"Respect the ratings of cables and connectors; mains terminals are the work of licensed people; local codes decide."})
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

// remains reports whether a load fails only because joints or feeds are above their limits.
func remains(l *repair.Loads) bool {
	if len(l.Colours[0].Effect.Remaining) == 0 {
		return false
	}
	for i, c := range l.Colours {
		if c.Effect.LoadVerdict == assessment.Fail && (l.Design < 0 || i == l.Design) {
			return false
		}
	}
	return true
}

// cautious returns the safe end of an interval: the lower end of a fitted one.
func cautious(n interval.Interval, k repair.Basis) float64 {
	if k.FromReadings {
		return n.Low
	}
	return n.Value
}

func (t table) load(c repair.Load) {
	e := c.Effect
	t.wrapped(verdictWord(e.Verdict), printable.Short(c.Mix.Name, 120), wordWidth, e.Verdict)
	level := percentSpan(e.Highest) + " of full level, a limiter of " + wording.Span(e.Limiter, 2) + " A"
	if e.Rating.Dark() {
		level = "none: broken in the dark already"
	}
	t.wrapped("", level, wordWidth+2, assessment.None)
	t.wrapped("", "first limit reached: "+wording.Binding(e), wordWidth+2, assessment.None)
	for _, turn := range e.Rating.NonMonotonic {
		t.wrapped("", fmt.Sprintf("at some levels more light brings the %s further from its limit, so more levels were tried", turn), wordWidth+2, assessment.None)
	}
}

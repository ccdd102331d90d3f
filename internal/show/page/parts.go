package page

import (
	"fmt"
	"time"

	"ohmkeep/internal/advise/repair"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// loadPart is what load a run carries.
type loadPart struct {
	Verdict           assessment.Verdict
	Text              string
	Colours           []loadRow
	Assumed, Cautions []string
}

type loadRow struct {
	Verdict            assessment.Verdict
	Name, Level, Binds string
}

func loadPartOf(l *repair.Loads) *loadPart {
	if l == nil {
		return nil
	}
	p := &loadPart{Cautions: wording.LoadCautions, Assumed: append(append([]string{}, l.Assumed...), wording.EvenLight, wording.LimiterCounts)}
	p.Text, p.Verdict = wording.LoadHeadline(l)
	p.Text = wording.Capital(p.Text) + "."
	for _, c := range l.Colours {
		p.Colours = append(p.Colours, loadRow{c.Effect.Verdict, printable.Short(c.Mix.Name, 120), wording.Level(c.Effect), wording.Binding(c.Effect)})
	}
	return p
}

// repairPart is a repair with the elements that it changed.
type repairPart struct {
	Date, Text string
	Rows       []repairRow
	Remark     string // instead of rows
}

type repairRow struct {
	Label, Before, BeforeInterval string
	After, AfterInterval, Unit    string
	BeforeVerdict, AfterVerdict   assessment.Verdict
}

func repairPartsOf(repairs []Repair) (parts []repairPart) {
	for _, r := range repairs {
		p := repairPart{Date: r.Time.Format("2 January 2006"), Text: printable.Short(r.Text, 200)}
		switch {
		case r.Before == nil:
			p.Remark = "Nothing was read before it."
		case r.After == nil:
			p.Remark = "Nothing was read after it: its effect is not proven."
		default:
			p.Rows = changedRows(r.Before, r.After)
			if len(p.Rows) == 0 {
				p.Remark = "No resistance that was known before and after it is another by more than its interval."
			}
		}
		parts = append(parts, p)
	}
	return parts
}

// mixed returns that readings from before the newest repair are judged with later ones.
func mixed(before, all int, newest Repair) string {
	return fmt.Sprintf("%d of %s that the verdicts above rest on were taken before the repair of %s, and show the run as it was then.",
		before, number.Count(all, "value"), newest.Time.Format("2 January 2006"))
}

// changedRows returns the elements that failed before, or of which the intervals before and after do
// not overlap.
func changedRows(before, after *assessment.Assessment) (rows []repairRow) {
	for _, b := range before.Elements {
		if b.Rail != run.Loop {
			continue
		}
		for _, a := range after.Elements {
			if a.Kind != b.Kind || a.Name != b.Name || a.Rail != b.Rail {
				continue
			}
			apart := b.Known && a.Known && (a.Low > b.High || a.High < b.Low)
			if b.Verdict != assessment.Fail && !apart {
				continue
			}
			x, y := wording.LineOf(b), wording.LineOf(a)
			rows = append(rows, repairRow{Label: x.Label, Unit: y.Unit, Before: x.Value, BeforeInterval: x.Low + " … " + x.High, BeforeVerdict: b.Verdict,
				After: y.Value, AfterInterval: y.Low + " … " + y.High, AfterVerdict: a.Verdict})
		}
	}
	return rows
}

// stepsOf returns the steps that were read, with their levels.
func stepsOf(a *assessment.Assessment) (steps []wording.Fact) {
	count := map[string]int{}
	for _, r := range a.Readings {
		count[r.Step]++
	}
	for _, s := range a.Run.Steps {
		if n := count[s.Name]; n > 0 {
			steps = append(steps, wording.Fact{What: printable.Short(s.Name, 40), Text: wording.StepLevels(a.Run, s) + "; " + number.Count(n, "reading")})
		}
	}
	return steps
}

// measuredWhen returns how many readings there are, and from when to when they were taken.
func measuredWhen(readings []assessment.Reading) (count, stretch string) {
	var first, last time.Time
	single := 0
	for _, r := range readings {
		from, to := r.Time, r.Time
		if single++; r.Mean != nil {
			single += r.Mean.Count - 1
			from, to = r.Mean.First, r.Mean.Last
		}
		if first.IsZero() || !from.IsZero() && from.Before(first) {
			first = from
		}
		if to.After(last) {
			last = to
		}
	}
	count = number.Count(len(readings), "reading")
	if single > len(readings) {
		count = number.Count(single, "reading") + ", repeated ones taken together as " + number.Count(len(readings), "value")
	}
	return count, wording.Stretch(first, last)
}

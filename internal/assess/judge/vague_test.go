package judge

import (
	"math"
	"testing"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// What an undecided joint of 3 mΩ with a limit of 15 mΩ shows: an upper end that is ten times the limit, or
// ten times a lower end above it, says nothing and is not shown; nor is a best value from an interval of
// four times the limit, but what the run file states, or the nearest value within the interval.
func TestShownResistance(t *testing.T) {
	j := &judgement{run: &run.Run{Joints: []run.Joint{{Ohms: 0.003}}}}
	e := &estimate.Element{Kind: run.KindJoint, Rail: run.Loop}
	endless := math.Inf(1)
	for _, c := range []struct{ ohms, low, high, wantOhms, wantHigh float64 }{
		{0.012, 0.001, 0.040, 0.012, 0.040},
		{0.012, 0.001, 0.100, 0.003, 0.100},
		{0.012, 0.005, 9, 0.005, endless},
		{0.055, 0.029, 0.250, 0.055, 0.250},
		{0.055, 0.029, 1.395, 0.055, endless},
		{2.5, 1.2, 8, 2.5, 8},
	} {
		x := assessment.Element{Kind: run.KindJoint, Known: true, Verdict: assessment.Unproven, Ohms: c.ohms, Low: c.low, High: c.high, Limit: 0.015}
		j.showStatedOhms(e, &x)
		if x.Ohms != c.wantOhms || x.High != c.wantHigh || x.Known != (c.wantOhms == c.ohms) {
			t.Errorf("%g (%g to %g) Ω is shown as %g up to %g, known %v", c.ohms, c.low, c.high, x.Ohms, x.High, x.Known)
		}
	}
}

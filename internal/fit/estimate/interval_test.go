package estimate

import (
	"math"
	"slices"
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// At the end of an interval the least sum of squares has risen by 3.84, the 95 % quantile of
// chi-squared with one degree of freedom, also where the covariance predicts another end. Where
// bounded fits do not converge the end may lie further out, which is the safe side.
func TestIntervalEndIsAtChiSquaredQuantile(t *testing.T) {
	r, list := modeltest.Cornice()
	list = withThermometer(r, slices.DeleteFunc(list, func(x reading.Reading) bool { return x.From == "north.end+" }))
	e, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	bent := 0
	for i := range e.Elements {
		x := &e.Elements[i]
		if x.Rail != run.Loop || x.Kind != run.KindJoint && x.Kind != run.KindFeed || x.Belief.RectangularHalfWidths[0] > 0 {
			continue
		}
		low, high := x.Belief.Interval(0.95)
		for _, above := range []bool{false, true} {
			at, predicted := e.IntervalEnd(i, 0.95, above), low
			if above {
				predicted = high
			}
			if at <= 0 || math.IsInf(at, 1) {
				continue
			}
			if math.Abs(at-predicted) > 0.02*predicted {
				bent++
			}
			least := math.Inf(1)
			for _, start := range [][]float64{e.X, e.Model.StartHeldAt(x.split, at, e.X)} {
				if sum, _, ok := e.Model.SumHeldAt(e.Assumptions, x.resistance, at, 0.03, start); ok {
					least = math.Min(least, sum)
				}
			}
			if rise := least - e.Sum; rise < 3.84*0.9 || rise > 3.84*1.5 {
				t.Errorf("%s %d ends at %g (%g by the covariance), where the sum has risen by %g", x.Kind, x.Index, at, predicted, rise)
			}
		}
	}
	if bent == 0 {
		t.Error("no interval ends elsewhere than the covariance has it")
	}
}

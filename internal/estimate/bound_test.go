package estimate

import (
	"math"
	"slices"
	"testing"

	"ohmkeep/internal/assessment"
	"ohmkeep/internal/reading"
)

// An interval's end is where the least sum of squares has risen by what it takes: the square
// of as many deviations as the belief has it away from the estimate, or from nothing where
// the estimate is below, and more by the square of the inflation where the fit is poor; of a
// reel, without what is known of it from the others.
func TestBoundsRiseByWhatTheyShould(t *testing.T) {
	for name, c := range map[string]struct {
		inflation float64
		make      func() (*Estimate, error)
	}{
		"half read": {1, func() (*Estimate, error) { return unread(t, "north.end+") }},
		"poor":      {2, func() (*Estimate, error) { return unread(t, "north.end+") }},
		"reels of their own": {3, func() (*Estimate, error) {
			r, list := thorough(t, 0, 1.3)
			return Make(r, slices.DeleteFunc(list, func(x reading.Reading) bool { return x.Step >= "white 2" }))
		}},
		"below nothing": {1, func() (*Estimate, error) {
			r, list := cornice(t)
			for i := range list {
				if list[i].From == "north.start+" {
					list[i].Value += []float64{0, 0.001, 0.0025, 0.005}[i/8]
				}
			}
			return Make(r, list)
		}},
	} {
		e, err := c.make()
		if err != nil {
			t.Fatal(err)
		}
		e.inflation *= c.inflation
		bent := 0
		for i := range e.Elements {
			x := &e.Elements[i]
			x.Belief.Deviation *= c.inflation
			if x.Rail != assessment.Loop || x.Kind == assessment.Supply {
				continue
			}
			low, high := x.Belief.Interval(0.95)
			for _, promised := range []float64{low, high} {
				at := e.Reach(i, 0.95, promised == high)
				if at <= 0 || math.IsInf(at, 1) || alikeTo(at, promised, 0.02) {
					continue
				}
				bent++
				deviations := (promised - math.Max(x.Belief.Mean, 0)) / x.Belief.Deviation
				want := math.Pow(deviations*e.inflation, 2)
				if rise := leastRise(t, e, x, at); rise < 0.85*want || rise > 1.2*want {
					t.Errorf("%s: %s %d ends at %g (%g by the covariance), where the sum has risen by %g, want %g", name, x.Kind, x.Index, at, promised, rise, want)
				}
			}
		}
		if bent == 0 {
			t.Errorf("%s: no interval ends elsewhere than the covariance has it", name)
		}
	}
}

// unread is an estimate of the cornice without the readings from a point.
func unread(t *testing.T, from string) (*Estimate, error) {
	t.Helper()
	r, list := cornice(t)
	return Make(r, slices.DeleteFunc(list, func(x reading.Reading) bool { return x.From == from }))
}

// leastRise is by how much the least sum of squares between walls rises with an element at a
// value, by fits with all the steps they want; without walls where none settles between them.
func leastRise(t *testing.T, e *Estimate, x *Element, at float64) float64 {
	t.Helper()
	v, done := e.alone(x.Kind, x.Index)
	defer done()
	defer e.restore()
	p := e.problem
	_, base := v.physical()
	least := math.Inf(1)
	for _, start := range [][]float64{v.x, p.shared(x, at, v.x)} {
		p.pin, p.walls = &pin{of: x.at, value: at}, p.behind()
		if fit, err := p.solveWithin(start, patientSteps); err == nil && fit.Converged {
			least = math.Min(least, fit.SumSquares)
		}
		p.pin, p.walls = nil, nil
	}
	if !math.IsInf(least, 1) {
		return least - base
	}
	p.pin = &pin{of: x.at, value: at}
	defer func() { p.pin = nil }()
	fit, err := p.solveWithin(v.x, patientSteps)
	if err != nil {
		t.Fatal(err)
	}
	return fit.SumSquares - v.sum
}

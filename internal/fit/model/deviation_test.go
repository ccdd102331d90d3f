package model

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/reading"
)

// The standard deviation of a mean of rounded readings against simulated displays, with noise from
// none to several counts. At a noise of 0.2 counts the computed one is up to 1.6 times too large:
// where the readings show two numbers, the rounding error is smaller than its average over all
// true values, which the readings cannot show.
func TestDeviationOfAMean(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 9))
	const resolution, n, trials = 0.001, 100, 4000
	for _, wander := range []float64{0, 0.1, 0.2, 0.3, 0.5, 1.2, 4} { // counts
		claimed, missed := 0.0, 0.0
		for range trials {
			truth := rng.Float64()
			uneven := countNonlinearity * rng.NormFloat64()
			sum, squares := 0.0, 0.0
			for range n {
				shown := math.Round(truth + wander*rng.NormFloat64())
				sum += shown
				squares += shown * shown
			}
			mean := sum/n + uneven
			scatter := math.Sqrt(math.Max(squares-sum*sum/n, 0) / (n - 1))
			d := readingDeviation(resolution, &reading.Mean{Count: n, Independent: n, Scatter: scatter * resolution}) / resolution
			claimed += d * d / trials
			missed += (mean - truth) * (mean - truth) / trials
		}
		if ratio := math.Sqrt(claimed / missed); ratio < 0.95 || ratio > 1.6 {
			t.Errorf("wander of %g counts: claimed %.3f counts, missed by %.3f", wander, math.Sqrt(claimed), math.Sqrt(missed))
		}
	}
}

// A constant reading has the standard deviation of its rounding, 1/√12 of a count (JCGM 100:2008,
// F.2.2.1: the resolution of a digital display), and of the nonlinearity, 0.2 counts, for any
// number of repeats. The mean of a hundred readings with a noise of 4 counts has 0.4 counts, and
// the nonlinearity.
func TestDeviationKeepsTheRounding(t *testing.T) {
	still := readingDeviation(0.001, &reading.Mean{Count: 10000, Independent: 10000})
	if want := 0.001 * math.Hypot(1/math.Sqrt(12), countNonlinearity); math.Abs(still-want) > 0.01*want {
		t.Errorf("standing still: %g, want %g", still, want)
	}
	wandering := readingDeviation(0.001, &reading.Mean{Count: 100, Independent: 100, Scatter: 0.004})
	if want := 0.001 * math.Hypot(0.4, countNonlinearity); math.Abs(wandering-want) > 0.02*want {
		t.Errorf("wandering: %g, want %g", wandering, want)
	}
	if alike := readingDeviation(0.001, &reading.Mean{Count: 100, Independent: 4, Scatter: 0.004}); math.Abs(alike-0.002) > 0.03*0.002 {
		t.Errorf("worth four: %g", alike)
	}
}

// A mean of repeated readings has the weight of its own standard deviation.
func TestMeanWeighsMore(t *testing.T) {
	r, list := modeltest.Cornice()
	list[0].Mean = &reading.Mean{Count: 100, Independent: 100, Scatter: 0.0005}
	p, err := New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	var mean, single float64
	for _, o := range p.Observations {
		switch o.Reading {
		case 0:
			mean = o.Deviation
		case 1:
			single = o.Deviation
		}
	}
	if !(mean > 0 && mean < single/1.5) {
		t.Errorf("the mean's deviation is %g, a single reading's %g", mean, single)
	}
}

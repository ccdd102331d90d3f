package estimate

import (
	"math"
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Readings without errors other than rounding give back the resistances of the run.
func TestRecoversRunFromRoundedReadings(t *testing.T) {
	r, list := modeltest.Cornice()
	e, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	if !e.Fit.Converged || e.Fit.PValue < 0.5 {
		t.Errorf("fit %+v", e.Fit)
	}
	for _, x := range e.Elements {
		truth := math.NaN()
		switch {
		case x.Rail != run.Loop:
		case x.Kind == "joint":
			truth = r.Joints[x.Index].Ohms
		case x.Kind == "feed":
			truth = r.Feeds[x.Index].Ohms
		case x.Kind == "reel":
			truth = r.Reels[x.Index].Strip.LoopOhms
		}
		if math.IsNaN(truth) {
			continue
		}
		if off := math.Abs(x.Belief.Mean - x.Scale(truth)); off > 2*x.Belief.Deviation {
			t.Errorf("%s %d: %g, truth %g", x.Kind, x.Index, x.Ohms(x.Belief.Mean), truth)
		}
	}
}

// The same readings in another order give the same answer, and again the same bits.
func TestOrderOfReadingsDoesNotMatter(t *testing.T) {
	r, list := modeltest.Cornice()
	a, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	again, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	for i := range a.X {
		if a.X[i] != again.X[i] {
			t.Fatalf("unknown %d: %v and again %v", i, a.X[i], again.X[i])
		}
	}
	back := make([]reading.Reading, len(list))
	for i, x := range list {
		back[len(list)-1-i] = x
	}
	b, err := Make(r, back)
	if err != nil {
		t.Fatal(err)
	}
	for i := range a.Elements {
		x, y := a.Elements[i].Belief, b.Elements[i].Belief
		if math.Abs(x.Mean-y.Mean) > 1e-3*x.Deviation || math.Abs(x.Deviation-y.Deviation) > 1e-3*x.Deviation {
			t.Errorf("element %d: %+v, backwards %+v", i, x, y)
		}
	}
}

func BenchmarkFit(b *testing.B) {
	r, list := modeltest.Cornice()
	b.Run("pixels=900/steps=4/readings=32", func(b *testing.B) {
		for range b.N {
			if _, err := Make(r, list); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// A meter's gain error is common to its readings and does not average out. A feed's
// resistance is a drop over a current, so beside a meter without gain errors its
// relative variance is greater by that of both gains: limits of 0.5 % and 1.5 %, each
// over √3 (JCGM 100:2008, 4.3.7). Repeating every reading changes nothing of that. A thermometer
// in each step keeps the copper's temperature out of it.
func TestGainErrorsStayInTheInterval(t *testing.T) {
	r, list := modeltest.Cornice()
	list = withThermometer(r, list)
	for range 3 {
		list = append(list, list...)
	}
	exact := *r
	exact.Meters = []run.Meter{{Name: "hand"}}
	for _, one := range r.Meters[0].Ranges {
		one.Fraction = 0
		exact.Meters[0].Ranges = append(exact.Meters[0].Ranges, one)
	}
	want := (0.005*0.005 + 0.015*0.015) / 3
	// Of the two feeds only near is read at both its ends, so that it is that quotient.
	more := feedVariances(t, r, list)[0] - feedVariances(t, &exact, list)[0]
	// The priors of the loads give a little information on the clamp's gain.
	if more < 0.8*want || more > 1.1*want {
		t.Errorf("gains add %.3g to the relative variance, want %.3g (%.2f)", more, want, more/want)
	}
}

// withThermometer adds a temperature reading of 20 °C in each step.
func withThermometer(r *run.Run, list []reading.Reading) []reading.Reading {
	for _, step := range r.Steps {
		list = append(list, reading.Reading{Step: step.Name, Quantity: run.Temperature, From: r.Reels[0].Name, Value: 20})
	}
	return list
}

// feedVariances gives the relative variances of the feeds' resistances.
func feedVariances(t *testing.T, r *run.Run, list []reading.Reading) []float64 {
	t.Helper()
	e, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	var v []float64
	for _, x := range e.Elements {
		if x.Kind == "feed" && x.Rail == run.Loop {
			relative := x.Belief.Deviation * prior.ToOhmsSlope(x.Belief.Mean) / x.Ohms(x.Belief.Mean)
			v = append(v, relative*relative)
		}
	}
	if len(v) != len(r.Feeds) {
		t.Fatalf("%d feeds", len(v))
	}
	return v
}

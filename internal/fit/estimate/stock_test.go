package estimate

import (
	"math"
	"slices"
	"testing"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/numeric/matrix"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// stock returns the cornice's readings with one reel's copper thinner than stated.
func stock(t *testing.T, reel int, thinner float64) (stated *run.Run, list []reading.Reading) {
	t.Helper()
	stated, list = modeltest.Cornice()
	real := *stated
	real.Reels = slices.Clone(stated.Reels)
	real.Reels[reel].Strip.LoopOhms *= thinner
	modeltest.Fill(&real, list)
	return stated, list
}

// A reel's belief without its foil prior agrees with a fit without it. A reel of another stock is
// recognised, and does not change the joints, feeds and other reels.
func TestReelOfAnotherStock(t *testing.T) {
	for _, thinner := range []float64{1, 1.15, 1.5} {
		r, list := stock(t, 0, thinner)
		e, err := Make(r, list)
		if err != nil {
			t.Fatal(err)
		}
		if !e.Fit.Converged || e.Fit.PValue < 0.05 {
			t.Errorf("thinner %g: %+v", thinner, e.Fit)
		}
		for _, x := range e.Elements {
			if x.Rail != run.Loop || x.Kind == run.KindSupply {
				continue
			}
			truth := map[run.Kind]float64{run.KindJoint: 0.003, run.KindReel: r.Reels[0].Strip.LoopOhms}[x.Kind]
			switch {
			case x.Kind == run.KindFeed:
				truth = r.Feeds[x.Index].Ohms
			case x.Kind == run.KindReel && x.Index == 0:
				truth *= thinner
			}
			if off := math.Abs(x.Belief.Mean-x.Scale(truth)) / x.Belief.Deviation; off > 2 {
				t.Errorf("thinner %g: %s %d is %g, truth %g, %.1f deviations off", thinner, x.Kind, x.Index, x.Ohms(x.Belief.Mean), truth, off)
			}
			if x.Kind == run.KindReel {
				without(t, e, &x)
			}
		}
	}
}

// without compares a reel's belief with a fit that has no foil prior for it.
func without(t *testing.T, e *Estimate, x *Element) {
	t.Helper()
	a := e.Assumptions
	for i, p := range e.Model.FoilPriors {
		if p.Reel == x.Index {
			a = a.WithoutFoilPrior(i)
		}
	}
	fit, err := model.Solve(e.Model, a, e.X)
	if err != nil {
		t.Fatal(err)
	}
	mean, row := x.resistance.At(fit.X)
	deviation := math.Sqrt(matrix.Quadratic(fit.Covariance, row))
	if math.Abs(x.Belief.Deviation/deviation-1) > 0.1 || math.Abs(x.Belief.Mean-mean) > 0.1*deviation {
		t.Errorf("reel %d: %g ± %g, a fit says %g ± %g", x.Index, x.Belief.Mean, x.Belief.Deviation, mean, deviation)
	}
}

// A reel without readings is not known through the other reels, and draws of it have its full
// uncertainty.
func TestUnreadReelStaysUnknown(t *testing.T) {
	r, list := modeltest.Cornice()
	list = slices.DeleteFunc(list, func(x reading.Reading) bool {
		return x.From == "far" || x.From == "north.end+" || x.From == "east.start+"
	})
	e, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range e.Elements {
		if x.Kind != run.KindReel || x.Rail != run.Loop || x.Index != 2 {
			continue
		}
		if drawn := math.Sqrt(matrix.Quadratic(e.Covariance, x.Row)); x.Known || x.Belief.Deviation < 0.18*0.08 || drawn < 0.18*0.08 {
			t.Errorf("known %v, %g ± %g Ω/m, drawn with %g", x.Known, x.Belief.Mean, x.Belief.Deviation, drawn)
		}
	}
}

package estimate

import (
	"math"
	"slices"
	"testing"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/run"
)

func fittedCornice(t testing.TB) (*run.Run, *Estimate) {
	t.Helper()
	r, list := modeltest.Cornice()
	e, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	return r, e
}

// The fitted state of a step solves to the node voltages of the fit.
func TestFittedStateReproducesFit(t *testing.T) {
	r, e := fittedCornice(t)
	for k, profile := range e.Profiles {
		step := r.StepIndex(profile.Step)
		account := e.FittedState(step)
		if off := e.FittedStateAt(step, make([]float64, len(e.X))); off.Adjust != account.Adjust || !slices.Equal(off.Parameters.Feeds, account.Parameters.Feeds) {
			t.Error("no deviation is another account")
		}
		net, err := ladder.New(r)
		if err != nil {
			t.Fatal(err)
		}
		s := net.NewSolver()
		if err := s.Solve(&account.Parameters, ladder.Loads(r, r.Steps[step], account.Adjust)); err != nil {
			t.Fatal(err)
		}
		plus := make([]float64, 300)
		s.Reel(1, plus, nil, nil)
		for i, want := range e.Profiles[k].Reels[1].Plus {
			if math.Abs(plus[i]-want) > 1e-7 {
				t.Fatalf("step %q pixel %d: %.9g, the fit has %.9g", profile.Step, i+1, plus[i], want)
			}
		}
	}
}

// Draws have the fit's covariance: the variances of a feed, a joint and the current scale differ
// by no more than four standard deviations of an estimate from that many draws. Draws come in
// pairs of opposite sign, and the same seed gives the same draws.
func TestDrawsHaveTheCovariance(t *testing.T) {
	_, e := fittedCornice(t)
	const n = 8000
	draws := e.Draws(n, 1)
	if again := e.Draws(2, 1); !slices.Equal(again[1], draws[1]) {
		t.Error("the same seed gives other draws")
	}
	if other := e.Draws(2, 2); slices.Equal(other[0], draws[0]) {
		t.Error("another seed gives the same draws")
	}
	for i := range e.X {
		if draws[0][i] != -draws[1][i] {
			t.Fatal("draws are not mirrored")
		}
	}
	pairs := n / 2.0
	for i := range e.X {
		for j := range i + 1 {
			sum := 0.0
			for _, d := range draws {
				sum += d[i] * d[j] / n
			}
			ii, jj, want := e.Covariance.At(i, i), e.Covariance.At(j, j), e.Covariance.At(i, j)
			spread := math.Sqrt((ii*jj + want*want) / pairs)
			if math.Abs(sum-want) > 5*spread {
				t.Errorf("covariance of %d and %d is %g, want %g ± %g", i, j, sum, want, spread)
			}
		}
	}
}

// An unknown without variance, such as a conductor held open, is the same in all draws.
func TestDrawsWithZeroVariance(t *testing.T) {
	_, e := fittedCornice(t)
	const held = 2
	for i := range e.X {
		e.Covariance.Row(held)[i], e.Covariance.Row(i)[held] = 0, 0
	}
	for _, d := range e.Draws(4, 1) {
		if d[held] != 0 || math.IsNaN(d[held+1]) || d[held+1] == 0 {
			t.Errorf("%g and %g", d[held], d[held+1])
		}
	}
}

// A poor fit widens the draws as it widens the standard deviations.
func TestDrawsAreInflated(t *testing.T) {
	_, e := fittedCornice(t)
	plain := e.Draws(1, 3)
	e.Inflation = 3
	for i, x := range e.Draws(1, 3)[0] {
		if math.Abs(x-3*plain[0][i]) > 1e-12 {
			t.Fatalf("%g, want %g", x, 3*plain[0][i])
		}
	}
}

// Gradient against central differences of solved states, a hundredth of each unknown's standard
// deviation away.
func TestGradientAgreesWithDifferences(t *testing.T) {
	r, e := fittedCornice(t)
	at := run.Place{Kind: run.AtReel, Index: 1, Pixel: 150}
	net, err := ladder.New(r, at)
	if err != nil {
		t.Fatal(err)
	}
	const step = 3
	solver, g := net.NewSolver(), net.NewGradient()
	plus, minus := run.Point{Place: at}, run.Point{Place: at, Rail: run.Minus}
	volts := func(off []float64) float64 {
		account := e.FittedStateAt(step, off)
		if err := solver.Solve(&account.Parameters, ladder.Loads(r, r.Steps[step], account.Adjust)); err != nil {
			t.Fatal(err)
		}
		return solver.Potential(plus) - solver.Potential(minus)
	}
	volts(nil)
	if err := solver.VoltageGradient(plus, minus, g); err != nil {
		t.Fatal(err)
	}
	slopes := e.Gradient(step, g)
	moved := 0
	for i, slope := range slopes {
		h := 0.01 * math.Sqrt(e.Covariance.At(i, i))
		off := make([]float64, len(e.X))
		if w := e.Model.Unknowns[i].What; (w == model.JointRail || w == model.FeedRail) && e.X[i]-h < prior.MinTransformed {
			continue // no resistance is below zero
		}
		off[i] = h
		up := volts(off)
		off[i] = -h
		down := volts(off)
		if want := (up - down) / (2 * h); math.Abs(slope-want) > 1e-4*math.Abs(want)+1e-6 {
			t.Errorf("unknown %d: %g, difference %g", i, slope, want)
		}
		if slope != 0 {
			moved++
		}
	}
	if moved < 10 {
		t.Errorf("only %d unknowns move the volts", moved)
	}
}

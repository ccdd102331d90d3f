package model

import (
	"math"
	"slices"
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
	"ohmkeep/internal/run"
)

// A refit has the least sum of squares that a full fit has with the resistance held at the same value, and
// its element there, wherever its steps lead there: of a joint, feed and reel, on both sides of the estimate, and of a single conductor, at
// which others fall below zero.
func TestRefitIsTheFullFit(t *testing.T) {
	r, list := modeltest.Cornice()
	m, err := New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	a := m.Assume()
	fit, err := Solve(m, a, m.Start(a))
	if err != nil {
		t.Fatal(err)
	}
	l, refits := fit.Linear(), 0
	for _, c := range []struct {
		Resistance
		sigmas float64
	}{
		{Resistance{m.Joints[0], true, 1}, 2},
		{Resistance{m.Joints[1], true, 1}, 1},
		{Resistance{m.Feeds[0], true, 1}, -2},
		{Resistance{m.Feeds[1], true, 1}, -0.5},
		{Resistance{m.Reels[1], false, 0.04}, 1},
		{Resistance{m.Reels[0], false, 0.04}, -1},
		{Resistance{[2]int{m.Joints[1][run.Minus], Absent}, true, 1}, 3},
		{Resistance{[2]int{m.Joints[1][run.Plus], Absent}, true, 1}, -4}, // itself below zero
	} {
		mean, row := c.At(fit.X)
		along := matrix.Times(fit.Covariance, row)
		deviation := math.Sqrt(matrix.Dot(row, along))
		value, start := mean+c.sigmas*deviation, slices.Clone(fit.X)
		for j, d := range along { // the least sum of the parabola
			start[j] += c.sigmas / deviation * d
		}
		start = m.bestFirst(a, c.Resistance, value, [][]float64{start})[0]
		got, x, ok := l.refit(c.heldAt(value, start), start, 0.04)
		if !ok {
			continue // a full fit is made
		}
		refits++
		held := a
		held.held = c.heldAt(value, start)
		full, err := m.solveWith(held, start, leastsquares.Options{NoCovariance: true})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(got-full.SumSquares) > 0.02 {
			t.Errorf("%+v: a sum of %g, that of the full fit is %g, at the estimate %g", c, got, full.SumSquares, fit.SumSquares)
		}
		if at, _ := c.At(x); math.Abs(at-value) > 1e-9 {
			t.Errorf("%+v is held at %g, not %g", c, at, value)
		}
	}
	if refits < 6 {
		t.Errorf("%d refits", refits)
	}
}

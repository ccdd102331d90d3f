package search

import (
	"math"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/numeric/leastsquares"
	"slices"
	"testing"
)

// below is the cornice with a higher voltage behind its first joint than any resistance allows,
// by steps, and a fit of it with a conductor far below zero.
func below(t *testing.T, volts ...float64) (*hypothesis, *leastsquares.Fit) {
	t.Helper()
	r, list := modeltest.Cornice()
	for i := range list {
		if k := i / 8; list[i].From == "north.start+" {
			list[i].Value += volts[k]
		}
	}
	posed, err := model.New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	p := &hypothesis{Problem: posed}
	fit, err := p.Solve(p.Start())
	if err != nil {
		t.Fatal(err)
	}
	return p, fit
}

// The final fit with a conductor far below zero is fitted with bounds at once, from the start
// without the foil priors of unread reels.
func TestNegativeConductorIsBoundedAtOnce(t *testing.T) {
	some := []float64{0, 0.0015, 0.004, 0.008}
	p, fit := below(t, some...)
	if !p.hasNegativeConductor(fit) {
		t.Fatal("no conductor is far below nothing")
	}
	q, _ := below(t, some...)
	start := q.removeFoilPriorsOfUnread(fit)
	if start == nil {
		t.Fatal("every reel is read, so that nothing is left out")
	}
	want := q.solveBounded(start)
	if want == nil {
		t.Fatal("between walls it settles nowhere")
	}
	got := p.finalFit(fit)
	if !slices.Equal(got.X, want.X) || p.hasNegativeConductor(got) || !got.Converged {
		t.Errorf("settled %v, far below nothing %v, sum %.9g, between walls %.9g", got.Converged, p.hasNegativeConductor(got), got.SumSquares, want.SumSquares)
	}
	if sum, err := p.SumAt(got.X); err != nil || math.Abs(sum-got.SumSquares) > 1e-9*sum {
		t.Errorf("walls are left standing: %g, not %g (%v)", sum, got.SumSquares, err)
	}
	for i, a := range p.FoilPriors {
		if a.Disabled != q.FoilPriors[i].Disabled {
			t.Errorf("reel %d is held to be like the others: %v", a.Reel, !a.Disabled)
		}
	}
}

// Where bounds raise the sum of squares by more than minOpenGain the unbounded fit is kept.
func TestBoundedFitOfHighCostIsRejected(t *testing.T) {
	p, fit := below(t, 0, 0.006, 0.015, 0.03)
	walled := p.solveBounded(fit.X)
	if walled == nil || walled.SumSquares < fit.SumSquares+2*minOpenGain {
		t.Fatalf("walls cost too little: %+v", walled)
	}
	if got := p.finalFit(fit); !p.hasNegativeConductor(got) || got.SumSquares > fit.SumSquares {
		t.Errorf("far below nothing %v, sum %g after %g", p.hasNegativeConductor(got), got.SumSquares, fit.SumSquares)
	}
}

// A bounded fit is returned with the sum of squares and the covariance without the penalties, so
// that a conductor at its bound is no better known for it.
func TestBoundedFitHasUnboundedCovariance(t *testing.T) {
	p, fit := below(t, 0, 0.0015, 0.004, 0.008)
	walled := p.solveBounded(fit.X)
	if walled == nil {
		t.Fatal("between walls it settles nowhere")
	}
	n, _ := p.Size()
	if sum, err := p.SumAt(walled.X); err != nil || math.Abs(sum-walled.SumSquares) > 1e-9*sum || len(walled.Residuals) != n {
		t.Errorf("sum %g of %d residuals, without walls %g of %d (%v)", walled.SumSquares, len(walled.Residuals), sum, n, err)
	}
	stands := 0
	for _, j := range p.BoundedConductors() {
		if walled.X[j] >= 0 {
			continue
		}
		stands++
		if got, free := walled.Covariance.At(j, j), fit.Covariance.At(j, j); got < 0.5*free {
			t.Errorf("unknown %d is known to %g at its wall, to %g without", j, math.Sqrt(got), math.Sqrt(free))
		}
	}
	if stands == 0 {
		t.Error("no conductor stands at its wall")
	}
}

// A converged fit with a conductor far below zero is replaced by a bounded one.
func TestNegativeConductorAfterConvergence(t *testing.T) {
	p, fit := below(t, 0, 0.0015, 0.004, 0.008)
	if !fit.Converged || !p.hasNegativeConductor(fit) {
		t.Fatal("it did not settle, or not far below nothing")
	}
	if got := p.solveLonger(fit); p.hasNegativeConductor(got) || !got.Converged {
		t.Errorf("settled %v, far below nothing %v", got.Converged, p.hasNegativeConductor(got))
	}
}

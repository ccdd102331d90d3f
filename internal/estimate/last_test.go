package estimate

import (
	"slices"
	"testing"

	"ohmkeep/internal/leastsquares"
)

// below is the cornice with more volts behind its first joint than a sound one leaves, by
// steps, as no resistance makes it; and a fit of it in which a conductor is far below
// nothing.
func below(t *testing.T, volts ...float64) (*problem, *leastsquares.Fit) {
	t.Helper()
	r, list := cornice(t)
	for i := range list {
		if k := i / 8; list[i].From == "north.start+" {
			list[i].Value += volts[k]
		}
	}
	p, err := pose(r, list)
	if err != nil {
		t.Fatal(err)
	}
	fit, err := p.solve(p.start())
	if err != nil {
		t.Fatal(err)
	}
	return p, fit
}

// The last fit of an account in which a conductor came out far below nothing is one between
// walls at once, from where it is without what is known of unread reels: there are no steps
// in between among conductors that none has.
func TestFarBelowIsTakenBetweenWallsAtOnce(t *testing.T) {
	some := []float64{0, 0.0015, 0.004, 0.008}
	p, fit := below(t, some...)
	if !p.farBelow(fit) {
		t.Fatal("no conductor is far below nothing")
	}
	q, _ := below(t, some...)
	start := q.unlike(fit)
	if start == nil {
		t.Fatal("every reel is read, so that nothing is left out")
	}
	want := q.walled(start)
	if want == nil {
		t.Fatal("between walls it settles nowhere")
	}
	got := p.last(fit)
	if !slices.Equal(got.X, want.X) || p.farBelow(got) || !got.Converged {
		t.Errorf("settled %v, far below nothing %v, sum %.9g, between walls %.9g", got.Converged, p.farBelow(got), got.SumSquares, want.SumSquares)
	}
	if p.walls != nil {
		t.Error("walls are left standing")
	}
	for i, a := range p.alikes {
		if a.idle != q.alikes[i].idle {
			t.Errorf("reel %d is held to be like the others: %v", a.reel, !a.idle)
		}
	}
}

// Where walls cost more than an open conductor is worth, the readings tell of something else
// than of what they are off by, and the fit is left where it is for whoever judges it.
func TestWallsThatCostTooMuchAreNotTaken(t *testing.T) {
	p, fit := below(t, 0, 0.006, 0.015, 0.03)
	walled := p.walled(fit.X)
	if walled == nil || walled.SumSquares < fit.SumSquares+2*openGain {
		t.Fatalf("walls cost too little: %+v", walled)
	}
	if got := p.last(fit); !p.farBelow(got) || got.SumSquares > fit.SumSquares {
		t.Errorf("far below nothing %v, sum %g after %g", p.farBelow(got), got.SumSquares, fit.SumSquares)
	}
}

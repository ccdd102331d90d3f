package estimate

import (
	"math"
	"testing"

	"ohmkeep/internal/run"
)

// A fit between walls is handed on as one without them: its sum of squares is the readings'
// and the knowledge's beforehand, and a conductor that came to stand at its wall is no better
// known for that.
func TestWalledHasNoWalls(t *testing.T) {
	p, fit := below(t, 0, 0.0015, 0.004, 0.008)
	walled := p.walled(fit.X)
	if walled == nil {
		t.Fatal("between walls it settles nowhere")
	}
	n, _ := p.Size()
	if sum, err := p.sumAt(walled.X); err != nil || math.Abs(sum-walled.SumSquares) > 1e-9*sum || len(walled.Residuals) != n {
		t.Errorf("sum %g of %d residuals, without walls %g of %d (%v)", walled.SumSquares, len(walled.Residuals), sum, n, err)
	}
	stands := 0
	for _, j := range p.behind() {
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

// A fit that settled but has a conductor far below nothing is not left so.
func TestPatienceEndsBetweenWalls(t *testing.T) {
	p, fit := below(t, 0, 0.0015, 0.004, 0.008)
	if !fit.Converged || !p.farBelow(fit) {
		t.Fatal("it did not settle, or not far below nothing")
	}
	if got := p.patiently(fit); p.farBelow(got) || !got.Converged {
		t.Errorf("settled %v, far below nothing %v", got.Converged, p.farBelow(got))
	}
}

// The rails of an element that is held at a value share it as they did, evenly where they
// had nothing, and what else is below nothing begins at nothing.
func TestShared(t *testing.T) {
	r, list := cornice(t)
	p, err := pose(r, list)
	if err != nil {
		t.Fatal(err)
	}
	joint, feed := p.joints[0], p.feeds[1]
	split := p.splits[0]
	x := &Element{bent: true, shares: &split}
	for _, c := range []struct{ plus, minus, wantPlus, wantMinus float64 }{
		{0.03, 0.01, 0.06, 0.02},
		{0.03, -0.01, 0.08, 0},
		{-0.03, -0.01, 0.04, 0.04},
	} {
		from := p.start()
		from[joint[run.Plus]], from[joint[run.Minus]], from[feed[run.Minus]] = c.plus, c.minus, -0.002
		at := p.shared(x, bend(0.08), from)
		if plus, minus := unbend(at[joint[run.Plus]]), unbend(at[joint[run.Minus]]); math.Abs(plus-c.wantPlus) > 1e-12 || math.Abs(minus-c.wantMinus) > 1e-12 {
			t.Errorf("%g and %g share 80 mΩ as %g and %g, not %g and %g", c.plus, c.minus, plus, minus, c.wantPlus, c.wantMinus)
		}
		if at[feed[run.Minus]] != 0 || at[feed[run.Plus]] != from[feed[run.Plus]] || from[feed[run.Minus]] != -0.002 {
			t.Errorf("a feed begins at %g and %g", at[feed[run.Plus]], at[feed[run.Minus]])
		}
	}
}

// What an estimate says of readings and currents is of its own account, whatever others were
// tried after it.
func TestEstimateIsOfItsOwnAccount(t *testing.T) {
	r, list := parted(t, [2]int{1, int(run.Minus)})
	e, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	if len(e.problem.parted) == 0 {
		t.Fatal("nothing is open, so that no other account was tried")
	}
	var amps []float64
	for _, x := range e.Elements {
		amps = append(amps, e.amps(x.Kind, x.Index, run.Plus))
	}
	n, _ := e.problem.Size()
	if err := e.problem.Evaluate(e.x, make([]float64, n), nil); err != nil {
		t.Fatal(err)
	}
	for i, o := range e.problem.observations {
		if got, want := e.Readings[o.reading].Predicted, e.problem.predicted[i]; !alikeTo(got, want, 1e-9) {
			t.Errorf("reading %d is predicted at %g, by its account at %g", o.reading, got, want)
		}
	}
	for i, x := range e.Elements {
		if got := e.amps(x.Kind, x.Index, run.Plus); !alikeTo(got, amps[i], 1e-9) {
			t.Errorf("%s %d carries %g A, by its account %g A", x.Kind, x.Index, amps[i], got)
		}
	}
}

// Where a conductor is parted there is nothing to share, whatever the other one has.
func TestIdleSplitSaysNothing(t *testing.T) {
	x := []float64{unbendMost, bend(0.002)}
	s := split{at: [2]int{0, 1}, bent: true, about: absent, spread: feedSplits, wire: 0.08}
	row := make([]float64, 2)
	if z := s.row(x, row); z == 0 {
		t.Fatal("it says nothing even while it is not idle")
	}
	s.idle = true
	if z := s.row(x, row); z != 0 || row[0] != 0 || row[1] != 0 {
		t.Errorf("%g deviations off, slopes %v", z, row)
	}
}

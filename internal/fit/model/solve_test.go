package model

import (
	"reflect"
	"slices"
	"sync"
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/run"
)

// The same model, assumptions and start give the same bits, also after other fits and at the same
// time as others.
func TestSolveIsAFunction(t *testing.T) {
	r, list := modeltest.Cornice()
	list[11].Value += 0.02
	m, err := New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	plain := m.Assume()
	robust := plain
	robust.Robust = true
	all := []Assumptions{plain, robust, plain.Excluding(11), plain.HoldingOpen(m.Joints[0][run.Plus]),
		plain.WithoutFoilPrior(1), plain.Correcting(Mistake{Kind: StepsExchanged, A: 1})}
	first := make([]*Fit, len(all))
	for i, a := range all {
		if first[i], err = Solve(m, a, m.Start(a)); err != nil {
			t.Fatal(err)
		}
		for k := range i {
			if slices.Equal(first[i].X, first[k].X) {
				t.Errorf("assumptions %d and %d give the same fit, so the test shows nothing", k, i)
			}
		}
	}
	var group sync.WaitGroup
	for i, a := range slices.Backward(all) {
		group.Go(func() {
			again, err := Solve(m, a, m.Start(a))
			if err != nil || !slices.Equal(again.X, first[i].X) || !slices.Equal(again.Covariance.Data, first[i].Covariance.Data) {
				t.Errorf("assumptions %d: another fit (%v)", i, err)
			}
		})
	}
	group.Wait()
}

// Methods of assumptions change only the value that they return.
func TestAssumptionsAreValues(t *testing.T) {
	r, list := modeltest.Cornice()
	m, err := New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	out := make([]bool, len(list))
	out[3] = true
	held := m.Assume().Holding(0, prior.Transform(0.01)).Correcting(Mistake{Kind: LeadsReversed, A: 1}).Excluding(5)
	before, same := held, m.Assume().Holding(0, prior.Transform(0.01)).Correcting(Mistake{Kind: LeadsReversed, A: 1}).Excluding(5)
	for name, next := range map[string]Assumptions{
		"excluding": held.Excluding(7), "excluding only": held.ExcludingOnly(out), "excluding for good": held.ExcludingForGood(out),
		"holding": held.Holding(0, 0.5), "holding open": held.HoldingOpen(1), "releasing": held.Releasing(0),
		"correcting": held.Correcting(Mistake{Kind: LeadsReversed, A: 2}), "without a foil prior": held.WithoutFoilPrior(0),
	} {
		if !reflect.DeepEqual(held, same) || !reflect.DeepEqual(before, same) {
			t.Fatalf("%s: the value itself changes", name)
		}
		if reflect.DeepEqual(next, held) {
			t.Errorf("%s: nothing changes", name)
		}
	}
	if n := held.ExcludingForGood(out).ExcludedCount(); n != 1 {
		t.Errorf("%d are excluded by the search, want 1", n)
	}
}

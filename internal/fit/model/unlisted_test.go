package model

import (
	"math"
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
)

// Unlisted currents of zero change nothing: every prediction is that of the model without them. A current
// that is fed at a reel comes from no feed of the run file any more.
func TestUnlistedCurrents(t *testing.T) {
	r, list := modeltest.Cornice()
	without, err := New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	with, err := without.WithUnlistedAt(1, FollowsLoad)
	if err != nil {
		t.Fatal(err)
	}
	if without.UnlistedAt() != Absent || with.UnlistedAt() != 1 {
		t.Fatalf("%d, %d", without.UnlistedAt(), with.UnlistedAt())
	}
	a := without.Assume()
	x := with.WithoutUnlisted(without.Start(a))
	before, err := without.At(a, without.Start(a))
	if err != nil {
		t.Fatal(err)
	}
	same, err := with.At(a, x)
	if err != nil {
		t.Fatal(err)
	}
	for i := range without.Observations {
		o := &without.Observations[i]
		was, _ := before.Predict(o, nil)
		if now, err := same.Predict(&with.Observations[i], nil); err != nil || math.Abs(now-was) > 1e-9 {
			t.Errorf("reading %d: %g, %g without", i, now, was)
		}
	}
	const part = 0.2
	fed := append([]float64(nil), x...)
	for i, u := range with.Unknowns {
		if u.What == UnlistedShare && u.Index == 1 {
			fed[i] = -part
		}
	}
	after, err := with.At(a, fed)
	if err != nil {
		t.Fatal(err)
	}
	for k := range with.ReadSteps {
		sum := func(p *Point) (amps float64) {
			for i := range r.Supplies {
				amps += p.Solvers[k].SupplyAmps(i)
			}
			return amps
		}
		channels, idle := with.StatedAmps(with.Steps[k])
		want := part * (channels + idle)
		// The strip's pixels draw the same at and above their knee.
		if less := sum(before) - sum(after); math.Abs(less-want) > 0.02*want || math.Abs(with.UnlistedAmps(a, k, fed)+want) > 1e-12 {
			t.Errorf("step %d: the supplies give %g A less, want %g", k, less, want)
		}
	}
}

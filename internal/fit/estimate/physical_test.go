package estimate

import (
	"math"
	"ohmkeep/internal/fit/model/modeltest"
	"testing"
)

// The sum of squares of the bounded fit is not less than that of the fit, and no conductor in it
// is below zero by more than the penalty allows.
func TestBoundedBest(t *testing.T) {
	r, list := modeltest.Cornice()
	for i := range list {
		if list[i].From == "north.start+" && list[i].Value > 0 {
			list[i].Value += 0.008 // more after the joint than before it
		}
	}
	e, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	least := 0.0
	for _, j := range e.Problem.BoundedConductors() {
		least = math.Min(least, e.X[j])
	}
	x, sum := e.BoundedBest()
	if least > -1e-4 || x == nil {
		t.Fatalf("nothing is below zero (%g), or no account found", least)
	}
	if sum < e.Sum {
		t.Errorf("sum %g below the fit's %g", sum, e.Sum)
	}
	for _, j := range e.Problem.BoundedConductors() {
		if x[j] < 0.6*least {
			t.Errorf("unknown %d at %g, %g in the fit", j, x[j], e.X[j])
		}
	}
}

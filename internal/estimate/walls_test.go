package estimate

import (
	"math"
	"testing"

	"ohmkeep/internal/leastsquares"
)

// Walls cost nothing above zero and a square below it, with the slope that says so.
func TestWalls(t *testing.T) {
	r, list := cornice(t)
	p, err := pose(r, list)
	if err != nil {
		t.Fatal(err)
	}
	x := p.start()
	open, _ := p.sumAt(x)
	p.walls = p.behind()
	if len(p.walls) != 2*(len(r.Joints)+len(r.Feeds)) {
		t.Fatalf("%d walls", len(p.walls))
	}
	if walled, _ := p.sumAt(x); math.Abs(walled-open) > 1e-9*open {
		t.Errorf("walls cost %g where no conductor is behind one", walled-open)
	}
	x[p.walls[1]] = -0.003
	n, m := p.Size()
	residuals, jacobian := make([]float64, n), leastsquares.NewMatrix(n, m)
	if err := p.Evaluate(x, residuals, jacobian); err != nil {
		t.Fatal(err)
	}
	first := len(p.observations) + len(p.splits) + len(p.alikes)
	for i := range p.walls {
		want, slope := 0.0, 0.0
		if i == 1 {
			want, slope = -3, 1000
		}
		if got := residuals[first+i]; math.Abs(got-want) > 1e-9 {
			t.Errorf("wall %d: %g, not %g", i, got, want)
		}
		if got := jacobian.At(first+i, p.walls[i]); math.Abs(got-slope) > 1e-6 {
			t.Errorf("wall %d: slope %g, not %g", i, got, slope)
		}
	}
}

// The best physical account lies no lower than the fit, and no conductor of it is below
// zero by more than a wall yields.
func TestPhysical(t *testing.T) {
	r, list := cornice(t)
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
	for _, j := range e.problem.behind() {
		least = math.Min(least, e.x[j])
	}
	x, sum := e.physical()
	if least > -1e-4 || x == nil {
		t.Fatalf("nothing is below zero (%g), or no account found", least)
	}
	if sum < e.sum {
		t.Errorf("sum %g below the fit's %g", sum, e.sum)
	}
	for _, j := range e.problem.behind() {
		if x[j] < 0.6*least {
			t.Errorf("unknown %d at %g, %g in the fit", j, x[j], e.x[j])
		}
	}
	if e.problem.walls != nil {
		t.Error("walls are left standing")
	}
}

// What no range shows is out for good and is no slip to be weighed against an open
// conductor; a suspect is.
func TestBarredReadingsAreNoSlips(t *testing.T) {
	r, list := cornice(t)
	list[9].Value *= 1000
	p, err := pose(r, list)
	if err != nil {
		t.Fatal(err)
	}
	if n := p.leftOut(); n != 0 || !p.observations[9].out {
		t.Errorf("%d left out, barred one out %v", n, p.observations[9].out)
	}
	p.observations[3].out = true
	if n := p.leftOut(); n != 1 {
		t.Errorf("%d left out, not 1", n)
	}
	p.setMarks(nil)
	if !p.observations[9].out || p.observations[3].out {
		t.Error("marks taken off: what is barred must stay out, and nothing else")
	}
}

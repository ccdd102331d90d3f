package estimate

import (
	"math"
	"ohmkeep/internal/leastsquares"
	"ohmkeep/internal/measurement/invented"
	"testing"
)

// Walls cost nothing above zero and a square below it, with the slope that says so.
func TestWalls(t *testing.T) {
	r, list := invented.Cornice()
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

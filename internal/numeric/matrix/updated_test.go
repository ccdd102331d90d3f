package matrix

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/numeric/leastsquares"
)

// Updates kept apart are those of Narrow and Widen. A function that is held has no variance. The
// covariance with what a step taught it gives that step for that change of the gradient.
func TestUpdated(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	const n = 7
	c := random(rng, n)
	first, second := SparseAt([]int{5, 1}, []float64{0.7, -2}), SparseAt([]int{2, 0, 6}, []float64{1, 3, -0.5})
	dense := func(s Sparse) []float64 {
		row := make([]float64, n)
		s.AddTo(row, 1)
		return row
	}
	vector := func() []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = rng.NormFloat64()
		}
		return v
	}
	u := &Updated{Covariance: Dense{c}}
	agrees := func(what string, want *leastsquares.Matrix) {
		t.Helper()
		v := vector()
		for i, x := range u.Times(v) {
			if w := Times(want, v)[i]; !close(x, w) {
				t.Errorf("%s: entry %d of a product is %g, not %g", what, i, x, w)
			}
		}
		if got, w := u.Variance(first), Quadratic(want, dense(first)); !close(got, w) {
			t.Errorf("%s: a variance is %g, not %g", what, got, w)
		}
	}
	agrees("as it is", c)
	u.Add(Sparse{})
	agrees("with a reading that depends on nothing", c)
	want := c.Clone()
	u.Add(first)
	Narrow(want, dense(first))
	agrees("with a reading", want)
	u.Add(second)
	Narrow(want, dense(second))
	agrees("with another one", want)
	u.Remove(first)
	Widen(want, dense(first))
	agrees("without the first one", want)
	u.Hold(second)
	if v := u.Variance(second); math.Abs(v) > 1e-12 {
		t.Errorf("a function that is held has a variance of %g", v)
	}
	step, change := vector(), vector()
	if Dot(step, change) < 0 { // the sum of squares is not convex along the step
		u.Learn(step, change)
		for i := range step {
			step[i] = -step[i]
		}
	}
	u.Learn(step, change)
	for i, x := range u.Times(change) {
		if !close(x, step[i]) {
			t.Errorf("entry %d of a step learnt is %g, not %g", i, x, step[i])
		}
	}
}

package leastsquares

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestDampedUpdate: a damped update solves (JᵀJ + P + λD²)·δ = −(Jᵀr + P·(x − mean)), is as
// long as the trust region's radius, and predicts the reduction of the linear model.
func TestDampedUpdate(t *testing.T) {
	prior := &Prior{[]float64{0.5, 0, 2}, []float64{0.05, math.Inf(1), 3}}
	start := []float64{1, 1, 0}
	o, err := inOrder(decay(0.03, decaying), start)
	if err != nil {
		t.Fatal(err)
	}
	o.arrangeBy([]int{0, 1, 2}) // so that the prior need not be arranged
	s := newSearch(o, prior, Options{})
	copy(s.current.x, start)
	if err := s.evaluate(s.current); err != nil {
		t.Fatal(err)
	}
	s.begin()
	jacobian := o.plain
	for _, part := range []float64{0.5, 0.01} {
		s.radius = part * s.length(s.current.update)
		predicted, slope := s.chooseUpdate()
		if l := s.length(s.delta); math.Abs(l-s.radius) > 0.1*s.radius {
			t.Errorf("radius %g, but length %g", s.radius, l)
		}
		fall, down := 0.0, 0.0
		for i, r := range s.current.residuals {
			along := 0.0
			for j, d := range jacobian.Row(i) {
				along += d * s.delta[j]
			}
			fall += r*r - (r+along)*(r+along)
			down -= r * along
		}
		for j := range s.delta {
			w := 1 / prior.Deviation[j]
			z, dz := w*(s.current.x[j]-prior.Mean[j]), w*s.delta[j]
			fall += z*z - (z+dz)*(z+dz)
			down -= z * dz
			sum := s.damping*s.scale[j]*s.scale[j]*s.delta[j] + w*(z+dz)
			size := math.Abs(w * z)
			for i, r := range s.current.residuals {
				along := r
				for k, d := range jacobian.Row(i) {
					along += d * s.delta[k]
				}
				sum += jacobian.At(i, j) * along
				size += math.Abs(jacobian.At(i, j) * r)
			}
			if math.Abs(sum) > 1e-12*size {
				t.Errorf("equation %d is off by %g of %g", j, sum, size)
			}
		}
		if !alike([]float64{predicted, slope}, []float64{fall, down}, 1e-10) {
			t.Errorf("reduction %g, slope %g, want %g, %g", predicted, slope, fall, down)
		}
	}
}

// TestDependentColumns: a column that is the sum of others, apart from rounding, leaves the fit
// singular, for any such column and any units. The sum of squares is that of the fit without it,
// reached at once.
func TestDependentColumns(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 9))
	for trial := range 60 {
		n := 6 + rng.IntN(20)
		whole, part, y := make([][]float64, n), make([][]float64, n), make([]float64, n)
		units := []float64{1, math.Pow(10, 10*rng.Float64()-5), math.Pow(10, 10*rng.Float64()-5)}
		for i := range n {
			a, b := rng.NormFloat64(), rng.NormFloat64()
			row := []float64{a * units[0], b * units[1], (a/3 + 0.7*b) * units[2]}
			k := trial % 3
			row[k], row[2] = row[2], row[k]
			whole[i], part[i], y[i] = row, []float64{a, b}, rng.NormFloat64()
		}
		unread, reduced := solve(t, linear(whole, y), []float64{0, 0, 0}, nil), solve(t, linear(part, y), []float64{0, 0}, nil)
		if !unread.Singular || unread.Covariance != nil || !unread.Converged || unread.Evaluations > 4 {
			t.Errorf("trial %d: singular %v, converged %v after %d", trial, unread.Singular, unread.Converged, unread.Evaluations)
		}
		if !alike([]float64{unread.SumSquares}, []float64{reduced.SumSquares}, 1e-12) || reduced.Singular {
			t.Errorf("trial %d: sum %v, without the third %v", trial, unread.SumSquares, reduced.SumSquares)
		}
	}
}

// kink has its minimum, at zero, where its derivative jumps by 2·slope.
func kink(slope float64, last *float64) bowl {
	return bowl{2, 1, func(x, residuals []float64, jacobian *Matrix) error {
		*last = x[0]
		residuals[0], residuals[1] = 3+slope*math.Abs(x[0]), x[0]
		if jacobian != nil {
			jacobian.Row(0)[0], jacobian.Row(1)[0] = math.Copysign(slope, x[0]), 1
		}
		return nil
	}}
}

// TestKink: where no update lowers the sum, a fit whose full update is less than a tenth
// of a standard deviation has converged, and one with a longer full update has not. Either
// ends soon, with the last evaluation at X although later updates were rejected.
func TestKink(t *testing.T) {
	for _, c := range []struct {
		slope     float64
		converged bool
	}{{0.003, true}, {1, false}} {
		var last float64
		f := solve(t, kink(c.slope, &last), []float64{5}, nil)
		if f.Converged != c.converged || f.Evaluations > 80 || math.Abs(f.X[0]) > 0.01 {
			t.Errorf("kink of %g: %v, converged %v after %d", c.slope, f.X, f.Converged, f.Evaluations)
		}
		if last != f.X[0] {
			t.Errorf("kink of %g: last evaluated at %g, ends at %g", c.slope, last, f.X[0])
		}
	}
}

// TestFarStart: the many rejected updates from a start where the full update is many powers of
// ten too long do not end the fit.
func TestFarStart(t *testing.T) {
	m := bowl{1, 1, func(x, residuals []float64, jacobian *Matrix) error {
		residuals[0] = math.Atan(x[0]) // the textbook example of Newton's method diverging: from 1000 the full update ends at −1.6e6
		if jacobian != nil {
			jacobian.Row(0)[0] = 1 / (1 + x[0]*x[0])
		}
		return nil
	}}
	if f := solve(t, m, []float64{1000}, nil); !f.Converged || math.Abs(f.X[0]) > 1e-10 {
		t.Errorf("%v, converged %v after %d", f.X, f.Converged, f.Evaluations)
	}
}

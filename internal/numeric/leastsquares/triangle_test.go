package leastsquares

import (
	"math"
	"testing"
)

// sameTriangle fails unless two triangles have the same minimising step and covariance. Rows of
// a triangle may differ in sign.
func sameTriangle(t *testing.T, a, b *triangle) {
	t.Helper()
	x, y := make([]float64, a.m), make([]float64, b.m)
	a.solve(x)
	b.solve(y)
	c, d := a.covariance(), b.covariance()
	for j := range x {
		if math.Abs(x[j]-y[j]) > 1e-11*(1+math.Abs(x[j])) {
			t.Errorf("step %d: %g and %g", j, x[j], y[j])
		}
		for k := range x {
			if p, q := c.At(j, k), d.At(j, k); math.Abs(p-q) > 1e-11*(1+math.Abs(p)) {
				t.Errorf("covariance %d, %d: %g and %g", j, k, p, q)
			}
		}
	}
}

// Rows of few entries are rotated in, others reflected; a row split into two halves of
// 1/√2 is the same knowledge either way.
func TestFewEntriesAreRotatedIn(t *testing.T) {
	jacobian, residuals, diagonal, right := fill(12, 9)
	for i := 3; i < 7; i++ {
		row := jacobian.Row(i)
		for j := range row {
			if j != i && j != i+2 {
				row[j] = 0
			}
		}
	}
	if !few(jacobian.Row(4)) || few(jacobian.Row(0)) {
		t.Fatal("which rows have few entries is not as meant")
	}
	a := newTriangle(12, 9)
	a.fold(jacobian, residuals, diagonal, right)
	// The normal equations of the same problem, small and well conditioned.
	b := newTriangle(12, 9)
	b.begin(diagonal, right)
	for i := range jacobian.Rows {
		for j, x := range jacobian.Row(i) {
			b.columns[j*12+i] = x
		}
		b.columns[9*12+i] = residuals[i]
	}
	for j := range b.m {
		b.heights[j] = 12
	}
	for j := range b.m {
		b.reflect(j)
	}
	sameTriangle(t, a, b)
}

// A damped triangle made from an undamped one equals the one made from the Jacobian.
func TestRefoldIsFold(t *testing.T) {
	for _, size := range [][2]int{{30, 8}, {5, 8}, {0, 3}} {
		jacobian, residuals, weights, right := fill(size[0], size[1])
		plain := newTriangle(size[0], size[1])
		plain.fold(jacobian, residuals, weights, right)
		more, both, as := make([]float64, size[1]), make([]float64, size[1]), make([]float64, size[1])
		for j := range more {
			more[j] = 0.3 + 0.2*float64(j)
			both[j] = math.Hypot(weights[j], more[j])
			as[j] = weights[j] * right[j] / both[j]
		}
		got, want := newTriangle(max(size[0], size[1]), size[1]), newTriangle(size[0], size[1])
		got.refold(plain, more)
		want.fold(jacobian, residuals, both, as)
		sameTriangle(t, got, want)
	}
}

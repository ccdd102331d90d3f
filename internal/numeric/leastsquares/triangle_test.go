package leastsquares

import (
	"math"
	"testing"
)

// sameTriangle fails unless two triangles have the same minimising update and covariance. Rows of
// a triangle may differ in sign.
func sameTriangle(t *testing.T, a, b *triangle) {
	t.Helper()
	x, y := make([]float64, a.m), make([]float64, b.m)
	a.solve(x)
	b.solve(y)
	c, d := a.covariance(), b.covariance()
	for j := range x {
		if math.Abs(x[j]-y[j]) > 1e-11*(1+math.Abs(x[j])) {
			t.Errorf("update %d: %g and %g", j, x[j], y[j])
		}
		for k := range x {
			if p, q := c.At(j, k), d.At(j, k); math.Abs(p-q) > 1e-11*(1+math.Abs(p)) {
				t.Errorf("covariance %d, %d: %g and %g", j, k, p, q)
			}
		}
	}
}

// More sparse rows than one lot holds give the triangle of the normal equations: RᵀR is
// JᵀJ + D².
func TestTriangleIsOfTheNormalEquations(t *testing.T) {
	for _, keep := range []int{1, 3} { // every entry, or those of neighbouring columns
		jacobian, residuals, diagonal, right := fill(3*lotRows+5, 9)
		for i := range jacobian.Rows {
			for j := range jacobian.Row(i) {
				if keep > 1 && (j+i)%keep == 0 {
					jacobian.Row(i)[j] = 0
				}
			}
		}
		a := newTriangle(jacobian.Rows, 9)
		a.fold(sparseOf(jacobian), residuals, diagonal, right)
		for j := range 9 {
			for k := range j + 1 {
				want, got := 0.0, 0.0
				if j == k {
					want = diagonal[j] * diagonal[j]
				}
				for i := range jacobian.Rows {
					want += jacobian.At(i, j) * jacobian.At(i, k)
				}
				for i := range k + 1 {
					got += a.upper[i*9+j] * a.upper[i*9+k]
				}
				if math.Abs(got-want) > 1e-11*(1+math.Abs(want)) {
					t.Errorf("columns %d and %d: %g, not %g", j, k, got, want)
				}
			}
		}
	}
}

// A damped triangle made from an undamped one equals the one made from the Jacobian.
func TestRefoldIsFold(t *testing.T) {
	for _, size := range [][2]int{{30, 8}, {5, 8}, {0, 3}} {
		jacobian, residuals, weights, right := fill(size[0], size[1])
		plain := newTriangle(size[0], size[1])
		plain.fold(sparseOf(jacobian), residuals, weights, right)
		more, both, as := make([]float64, size[1]), make([]float64, size[1]), make([]float64, size[1])
		for j := range more {
			more[j] = 0.3 + 0.2*float64(j)
			both[j] = math.Hypot(weights[j], more[j])
			as[j] = weights[j] * right[j] / both[j]
		}
		got, want := newTriangle(max(size[0], size[1]), size[1]), newTriangle(size[0], size[1])
		got.refold(plain, more)
		want.fold(sparseOf(jacobian), residuals, both, as)
		sameTriangle(t, got, want)
	}
}

// sparseOf returns a dense matrix in sparse form.
func sparseOf(m *Matrix) *sparse {
	s := &sparse{}
	s.clear()
	for i := range m.Rows {
		for j, x := range m.Row(i) {
			if x != 0 {
				s.add(j, x)
			}
		}
		s.endRow()
	}
	return s
}

package leastsquares

import (
	"math"
	"testing"
)

// chain is a linear model: parameters in a row, each measured together with the next one, all of them
// with the first. The values are invented.
type chain int

func (c chain) Size() (residuals, parameters int) { return 2 * int(c), int(c) }

func (c chain) Evaluate(x, residuals []float64, jacobian *Matrix) error {
	n := int(c)
	for i := range 2 * n {
		a, b := i/2, (i/2+1)%n
		residuals[i] = float64(i%3) - x[a] - float64(1+i%2)*x[b] - 0.1*x[0]
		if jacobian != nil {
			row := jacobian.Row(i)
			clear(row)
			row[a]--
			row[b] -= float64(1 + i%2)
			row[0] -= 0.1
		}
	}
	return nil
}

// The parameter that shares rows with all others is eliminated last, and a fit is given in the
// model's own order: the normal equations hold, and the covariance is their inverse.
func TestOrderKeepsTheTriangleSparse(t *testing.T) {
	const n = 40
	m := chain(n)
	o, err := inOrder(m, make([]float64, n))
	if err != nil {
		t.Fatal(err)
	}
	seen := make([]bool, n)
	for _, j := range o.order {
		seen[j] = true
	}
	for j, ok := range seen {
		if !ok {
			t.Errorf("parameter %d is left out", j)
		}
	}
	fit, err := Solve(m, make([]float64, n), nil, Options{})
	if err != nil || !fit.Converged {
		t.Fatal(fit, err)
	}
	s := newSearch(o, nil, Options{})
	if err := s.evaluate(s.current); err != nil {
		t.Fatal(err)
	}
	s.linearise(s.current)
	filled := 0
	for _, x := range s.current.linear.upper {
		if x != 0 {
			filled++
		}
	}
	if filled > 5*n {
		t.Errorf("%d entries for %d parameters", filled, n)
	}
	for j := range n {
		slope := 0.0
		for i, r := range fit.Residuals {
			slope += r * fit.Jacobian.At(i, j)
		}
		if math.Abs(slope) > 1e-9 {
			t.Errorf("the sum of squares falls by %g along parameter %d", slope, j)
		}
		for k := range n {
			sum, want := 0.0, 0.0
			if j == k {
				want = 1
			}
			for i := range n {
				normal := 0.0
				for r := range fit.Residuals {
					normal += fit.Jacobian.At(r, j) * fit.Jacobian.At(r, i)
				}
				sum += normal * fit.Covariance.At(i, k)
			}
			if math.Abs(sum-want) > 1e-8 {
				t.Errorf("covariance times normal equations at %d, %d: %g", j, k, sum)
			}
		}
	}
}

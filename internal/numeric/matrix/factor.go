package matrix

import (
	"math"

	"ohmkeep/internal/numeric/leastsquares"
)

// Inverse returns the inverse of a symmetric positive definite matrix, by elimination; nil if the
// matrix is not positive definite.
func Inverse(m *leastsquares.Matrix) *leastsquares.Matrix {
	n := m.Rows
	a, b := leastsquares.NewMatrix(n, n), leastsquares.NewMatrix(n, n)
	copy(a.Data, m.Data)
	for i := range n {
		b.Row(i)[i] = 1
	}
	for i := range n {
		pivot := a.At(i, i)
		if !(pivot > 1e-12*m.At(i, i)) {
			return nil
		}
		for k := range n {
			if k == i {
				continue
			}
			by := a.At(k, i) / pivot
			for j := range n {
				a.Row(k)[j] -= by * a.At(i, j)
				b.Row(k)[j] -= by * b.At(i, j)
			}
		}
	}
	for i := range n {
		for j := range n {
			b.Row(i)[j] /= a.At(i, i)
		}
	}
	return b
}

// Factor returns the lower Cholesky factor of a covariance, stored row by row. The column of an
// unknown without variance, such as a conductor held open, is zero.
func Factor(covariance *leastsquares.Matrix) []float64 {
	d := covariance.Rows
	l := make([]float64, d*d)
	for j := range d {
		rest := covariance.At(j, j)
		for k := range j {
			rest -= l[j*d+k] * l[j*d+k]
		}
		if rest <= 1e-14*covariance.At(j, j) || math.IsNaN(rest) {
			continue
		}
		l[j*d+j] = math.Sqrt(rest)
		for i := j + 1; i < d; i++ {
			sum := covariance.At(i, j)
			for k := range j {
				sum -= l[i*d+k] * l[j*d+k]
			}
			l[i*d+j] = sum / l[j*d+j]
		}
	}
	return l
}

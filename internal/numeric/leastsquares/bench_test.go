package leastsquares

import (
	"math/rand/v2"
	"testing"
)

// fill returns a random linear problem.
func fill(n, m int) (j *Matrix, residuals, diagonal, right []float64) {
	rng := rand.New(rand.NewPCG(3, 4))
	j = NewMatrix(n, m)
	for i := range j.Data {
		j.Data[i] = rng.NormFloat64()
	}
	residuals, diagonal, right = make([]float64, n), make([]float64, m), make([]float64, m)
	for i := range residuals {
		residuals[i] = rng.NormFloat64()
	}
	for i := range diagonal {
		diagonal[i] = 0.1 + rng.Float64()
	}
	return j, residuals, diagonal, right
}

func benchmarkStep(b *testing.B, n, m int) {
	jacobian, residuals, diagonal, right := fill(n, m)
	t := newTriangle(n, m)
	delta := make([]float64, m)
	b.ReportAllocs()
	for b.Loop() {
		t.fold(sparseOf(jacobian), residuals, diagonal, right)
		t.solve(delta)
	}
}

// One linear problem of the size of a commissioning, and of the largest run planned for.
func BenchmarkStep32x50(b *testing.B)   { benchmarkStep(b, 32, 50) }
func BenchmarkStep500x400(b *testing.B) { benchmarkStep(b, 500, 400) }

func benchmarkCovariance(b *testing.B, n, m int) {
	jacobian, residuals, diagonal, right := fill(n, m)
	t := newTriangle(n, m)
	t.fold(sparseOf(jacobian), residuals, diagonal, right)
	for b.Loop() {
		t.covariance()
	}
}

func BenchmarkCovariance32x50(b *testing.B)   { benchmarkCovariance(b, 32, 50) }
func BenchmarkCovariance500x400(b *testing.B) { benchmarkCovariance(b, 500, 400) }

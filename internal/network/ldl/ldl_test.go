package ldl

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Random sparse symmetric quasi-definite matrices: A·x of the dense matrix is the right-hand
// side, and the number of negative pivots is that of the negative diagonal entries
// (Sylvester's law of inertia).
func TestSolveFulfilsTheEquations(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for round := range 200 {
		n := 1 + rng.IntN(40)
		p := NewPattern(n)
		dense := make([][]float64, n)
		for i := range dense {
			dense[i] = make([]float64, n)
		}
		negatives := 0
		for i := range n {
			sign := 1.0
			if rng.IntN(5) == 0 {
				sign = -1
				negatives++
			}
			dense[i][i] = sign * (1 + rng.Float64())
		}
		for range 2 * n {
			i, j := rng.IntN(n), rng.IntN(n)
			p.Couple(i, j)
			// Couplings between rows of one sign stay below the diagonals' dominance.
			x := 0.4 * (rng.Float64() - 0.5) / float64(n)
			dense[i][j] += x
			if i != j {
				dense[j][i] += x
			}
		}
		var head []int
		if n > 3 {
			head = []int{2, 0}
		}
		m := p.Analyse(head)
		m.Clear()
		for i := range n {
			for j := i; j < n; j++ {
				if dense[i][j] != 0 {
					m.Add(m.Slot(i, j), dense[i][j])
				}
			}
		}
		negative, ok := m.Factorise()
		if !ok || negative != negatives {
			t.Fatalf("round %d: ok %v, %d negative pivots, want %d", round, ok, negative, negatives)
		}
		want, x := make([]float64, n), make([]float64, n)
		for i := range want {
			want[i] = rng.NormFloat64()
		}
		copy(x, want)
		m.Solve(x)
		for i := range n {
			sum := 0.0
			for j := range n {
				sum += dense[i][j] * x[j]
			}
			if math.Abs(sum-want[i]) > 1e-12 {
				t.Fatalf("round %d: row %d misses by %g", round, i, sum-want[i])
			}
		}
	}
}

func TestSingularMatrixIsReported(t *testing.T) {
	p := NewPattern(2)
	p.Couple(0, 1)
	m := p.Analyse(nil)
	m.Clear()
	for _, s := range []Slot{m.Slot(0, 0), m.Slot(1, 1)} {
		m.Add(s, 1)
	}
	m.Add(m.Slot(1, 0), -1)
	if _, ok := m.Factorise(); ok {
		t.Error("a singular matrix was factorised")
	}
}

// A chain of any length has no fill.
func TestChainHasNoFill(t *testing.T) {
	const n = 5000
	p := NewPattern(n)
	for i := 1; i < n; i++ {
		p.Couple(i-1, i)
	}
	if m := p.Analyse(nil); len(m.factor) != n-1 {
		t.Errorf("%d entries below the diagonal, want %d", len(m.factor), n-1)
	}
}

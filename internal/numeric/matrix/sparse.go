package matrix

// Sparse is a vector of which only the entries other than zero are held.
type Sparse struct {
	at    []int
	value []float64
}

// SparseOf returns a vector without the entries that are zero or smaller in size than negligible.
func SparseOf(dense []float64, negligible float64) (s Sparse) {
	for i, x := range dense {
		if !(x >= -negligible && x <= negligible) {
			s.at, s.value = append(s.at, i), append(s.value, x)
		}
	}
	return s
}

// Dot returns the scalar product with a dense vector.
func (s Sparse) Dot(dense []float64) float64 {
	sum := 0.0
	for n, i := range s.at {
		sum += s.value[n] * dense[i]
	}
	return sum
}

// Square returns the scalar product of the vector with itself.
func (s Sparse) Square() float64 { return Dot(s.value, s.value) }

// AddTo adds a multiple of the vector to a dense one.
func (s Sparse) AddTo(dense []float64, by float64) {
	for n, i := range s.at {
		dense[i] += by * s.value[n]
	}
}

// SparseAt returns a vector of the given entries.
func SparseAt(at []int, value []float64) Sparse { return Sparse{at, value} }

package matrix

import (
	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"
)

// Information is the inverse of the covariance of whitened unknowns, to which readings add. It is
// accurate also where readings reduce a variance by many orders of magnitude.
type Information struct {
	sum    *mat.SymDense
	factor *mat.Cholesky // of sum; nil where readings were added since
}

// NewInformation returns that of n whitened unknowns before any reading: the unit matrix.
func NewInformation(n int) *Information {
	x := &Information{sum: mat.NewSymDense(n, nil)}
	for i := range n {
		x.sum.SetSym(i, i, 1)
	}
	return x
}

// Add adds a reading with the given whitened derivatives, in units of its standard deviation.
func (x *Information) Add(reading Sparse) {
	raw := x.sum.RawSymmetric() // on and above the diagonal
	for n, i := range reading.at {
		row := raw.Data[i*raw.Stride:]
		for m := n; m < len(reading.at); m++ {
			row[reading.at[m]] += reading.value[n] * reading.value[m]
		}
	}
	x.factor = nil
}

// Whiten turns a whitened function of the unknowns into one that is whitened again, by all readings
// added: their scalar products are covariances once these are read.
func (x *Information) Whiten(function Sparse) Sparse {
	if x.factor == nil {
		x.factor = &mat.Cholesky{}
		x.factor.Factorize(x.sum) // no less than the unit matrix, so positive definite
	}
	solved := make([]float64, x.sum.SymmetricDim())
	function.AddTo(solved, 1)
	blas64.Trsv(blas.Trans, x.factor.RawU().(mat.RawTriangular).RawTriangular(), blas64.Vector{N: len(solved), Inc: 1, Data: solved})
	return SparseOf(solved, 0)
}

// Variance returns the variance of a whitened function of the unknowns.
func (x *Information) Variance(function Sparse) float64 { return x.Whiten(function).Square() }

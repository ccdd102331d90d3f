package matrix

import (
	"slices"

	"ohmkeep/internal/numeric/leastsquares"
)

// Covariance is a symmetric matrix, or what can be multiplied like one.
type Covariance interface {
	Times(v []float64) []float64
	Row(j int) []float64 // may be shared
	Size() int           // the number of unknowns
}

// Dense is a Covariance whose entries are kept.
type Dense struct{ *leastsquares.Matrix }

// Times returns the matrix times a vector.
func (c Dense) Times(v []float64) []float64 {
	out := make([]float64, len(v))
	for i := range out {
		out[i] = Dot(c.Row(i), v)
	}
	return out
}

// Size returns the number of unknowns.
func (c Dense) Size() int { return c.Rows }

// Updated is a covariance with updates of rank one, C − Σ f·u·uᵀ. They are kept apart, so that an
// update takes a time proportional to its length and the covariance itself is not changed.
type Updated struct {
	Covariance
	along [][]float64 // u, by update
	times []float64   // f
}

// Times returns the updated covariance times a vector.
func (c *Updated) Times(v []float64) []float64 {
	return c.updated(c.Covariance.Times(v), func(along []float64) float64 { return Dot(along, v) })
}

// TimesSparse is Times of a vector with few entries.
func (c *Updated) TimesSparse(v Sparse) []float64 {
	out := make([]float64, c.Size())
	for n, j := range v.at {
		for i, x := range c.Covariance.Row(j) { // it is symmetric
			out[i] += v.value[n] * x
		}
	}
	return c.updated(out, v.Dot)
}

// updated adds the updates to a product of the covariance; with returns their scalar product with the vector.
func (c *Updated) updated(out []float64, with func(along []float64) float64) []float64 {
	for k, u := range c.along {
		by := c.times[k] * with(u)
		for i, x := range u {
			out[i] -= by * x
		}
	}
	return out
}

// Variance returns that of a linear function of the unknowns with derivatives r.
func (c *Updated) Variance(r Sparse) float64 {
	sum := 0.0
	for n, i := range r.at {
		sum += r.value[n] * r.Dot(c.Covariance.Row(i))
	}
	for k, u := range c.along {
		along := r.Dot(u)
		sum -= c.times[k] * along * along
	}
	return sum
}

// Add adds a reading with derivatives r over its standard deviation, see Narrow.
func (c *Updated) Add(r Sparse) {
	along := c.TimesSparse(r)
	c.update(along, 1/(1+r.Dot(along)))
}

// Remove removes such a reading, see Widen. It changes nothing where only that reading determines a
// direction.
func (c *Updated) Remove(r Sparse) {
	along := c.TimesSparse(r)
	if rest := 1 - r.Dot(along); rest > minRest {
		c.update(along, -1/rest)
	}
}

// Hold takes a linear function of the unknowns as known exactly.
func (c *Updated) Hold(r Sparse) {
	along := c.TimesSparse(r)
	c.update(along, 1/r.Dot(along))
}

// Learn changes the covariance so that a step of the unknowns is the covariance times the change of
// half of the gradient of the sum of squares that the step caused. It stays positive definite (BFGS; Nocedal
// and Wright, Numerical Optimization, 2nd ed. 2006, eq. 6.17). Learn changes nothing where the sum is not
// convex along the step.
func (c *Updated) Learn(step, change []float64) {
	along := c.Times(change)
	curvature, variance := Dot(step, change), Dot(change, along)
	if !(curvature > 0 && variance > 0) {
		return
	}
	between := make([]float64, len(step))
	for i, s := range step {
		between[i] = s/curvature - along[i]/variance
	}
	c.update(along, 1/variance)
	c.update(step, -1/curvature)
	c.update(between, -variance)
}

func (c *Updated) update(along []float64, times float64) {
	c.along, c.times = append(c.along, along), append(c.times, times)
}

// Row returns row j of the updated covariance.
func (c *Updated) Row(j int) []float64 { return c.TimesSparse(SparseAt([]int{j}, []float64{1})) }

// Fixed is a covariance with one unknown that does not vary.
type Fixed struct {
	Covariance
	Unknown int
}

// Times returns the covariance times a vector.
func (c Fixed) Times(v []float64) []float64 {
	v = slices.Clone(v)
	v[c.Unknown] = 0
	out := c.Covariance.Times(v)
	out[c.Unknown] = 0
	return out
}

// Row returns row j of the covariance.
func (c Fixed) Row(j int) []float64 {
	row := slices.Clone(c.Covariance.Row(j))
	if j == c.Unknown {
		clear(row)
	}
	row[c.Unknown] = 0
	return row
}

package prior

// Derivative is the derivative of a residual by one unknown.
type Derivative struct {
	Unknown int
	Slope   float64
}

// Derivatives are those of a residual that depends on at most three unknowns, each of which is in it
// once. An unused one has a slope of zero.
type Derivatives [3]Derivative

// AddTo adds a multiple of the derivatives to a vector with an entry for each unknown.
func (d *Derivatives) AddTo(row []float64, times float64) {
	for _, e := range d {
		row[e.Unknown] += times * e.Slope
	}
}

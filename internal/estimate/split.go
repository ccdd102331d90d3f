package estimate

import "ohmkeep/internal/leastsquares"

// split is what is known beforehand of how an element's loop is shared between its
// rails. Pair voltages hardly tell, yet the rails' currents depend on it wherever
// there are two ways; without it a fit would balance a plus of an ohm against a
// minus of less than nothing. It enters the fit as one more residual,
//
//	z = (r₊ − r₋) / (2·spread·(r₊ + r₋ + r₀)),
//
// which costs little even where one rail is open.
type split struct {
	at     [2]int // unknowns
	bent   bool
	spread float64
	idle   bool // one of the rails is held open: there is nothing to share
}

// splitOhms is r₀: below it nobody cares about the split.
const splitOhms = 0.001

// residual is z, and its derivatives by the two unknowns.
func (s split) residual(x []float64) (z float64, slopes [2]float64) {
	if s.idle {
		return 0, slopes
	}
	if !s.bent { // factors about 1: linear
		slopes = [2]float64{0.25 / s.spread, -0.25 / s.spread}
		return slopes[0]*x[s.at[0]] + slopes[1]*x[s.at[1]], slopes
	}
	var ohms [2]float64
	for i, at := range s.at {
		ohms[i], slopes[i] = conducting(x[at])
	}
	sum := ohms[0] + ohms[1] + splitOhms
	z = (ohms[0] - ohms[1]) / (2 * s.spread * sum)
	for i := range s.at {
		slopes[i] *= (2*ohms[1-i] + splitOhms) / (2 * s.spread * sum * sum)
	}
	slopes[1] = -slopes[1]
	return z, slopes
}

// row is the derivative of z by all unknowns.
func (s split) row(x []float64) []float64 {
	row := make([]float64, len(x))
	_, slopes := s.residual(x)
	row[s.at[0]], row[s.at[1]] = slopes[0], slopes[1]
	return row
}

// evaluateSplits writes the splits' residuals behind those of the observations.
func (p *problem) evaluateSplits(x, residuals []float64, jacobian *leastsquares.Matrix) {
	n := len(p.observations)
	for i, s := range p.splits {
		z, slopes := s.residual(x)
		residuals[n+i] = z
		if jacobian != nil {
			row := jacobian.Row(n + i)
			clear(row)
			row[s.at[0]], row[s.at[1]] = slopes[0], slopes[1]
		}
	}
}

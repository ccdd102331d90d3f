package estimate

import (
	"math"

	"ohmkeep/internal/leastsquares"
)

// split is what is known beforehand of how an element's loop is shared between its
// rails. Pair voltages hardly tell, yet the rails' currents depend on it wherever
// there are two ways; without it a fit would balance a plus of an ohm against a
// minus of less than nothing. It enters the fit as one more residual,
//
//	z = ((r₊ − r₋)/(r₊ + r₋ + r₀) − s) / (2·spread),
//
// which costs little even where one rail is open; s is what the reels of one strip have
// in common, and nothing of anything else.
type split struct {
	at     [2]int // unknowns
	bent   bool
	about  int // unknown of the share that it lies about; absent: even
	spread float64
	tail   float64 // deviations from which a share may as well be any; 0 = none
	idle   bool    // one of the rails is held open: there is nothing to share
}

// splitOhms is r₀: below it nobody cares about the split.
const splitOhms = 0.001

// deviations is z, and its derivatives by the two unknowns and by the share about which
// it lies.
func (s split) deviations(x []float64) (z float64, slopes [2]float64, about float64) {
	if s.idle {
		return 0, slopes, 0
	}
	var r [2]float64
	for i, at := range s.at {
		if s.bent {
			r[i], slopes[i] = conducting(x[at])
		} else if r[i] = math.Max(x[at], factorLeast); x[at] > factorLeast {
			slopes[i] = 1
		}
	}
	sum := r[0] + r[1]
	rest := 0.0
	if s.bent {
		rest = splitOhms
		sum += rest
	}
	z = (r[0] - r[1]) / sum
	for i := range s.at {
		slopes[i] *= (2*r[1-i] + rest) / (2 * s.spread * sum * sum)
	}
	slopes[1] = -slopes[1]
	if s.about != absent {
		z -= x[s.about]
		about = -1 / (2 * s.spread)
	}
	return z / (2 * s.spread), slopes, about
}

// row writes the residual's derivatives by all unknowns, and returns the residual.
func (s split) row(x, row []float64) float64 {
	z, slopes, about := s.deviations(x)
	if s.tail > 0 {
		soft, slope := lighten(z, s.tail)
		z = soft
		slopes[0], slopes[1], about = slopes[0]*slope, slopes[1]*slope, about*slope
	}
	clear(row)
	row[s.at[0]], row[s.at[1]] = slopes[0], slopes[1]
	if s.about != absent {
		row[s.about] = about
	}
	return z
}

// share is the derivative of z by all unknowns.
func (s split) share(x []float64) []float64 {
	s.tail = 0
	row := make([]float64, len(x))
	s.row(x, row)
	return row
}

// evaluateSplits writes the splits' residuals behind those of the observations.
func (p *problem) evaluateSplits(x, residuals []float64, jacobian *leastsquares.Matrix) {
	n := len(p.observations)
	row := p.row
	for i, s := range p.splits {
		if jacobian != nil {
			row = jacobian.Row(n + i)
		}
		residuals[n+i] = s.row(x, row)
	}
}

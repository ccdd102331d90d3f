package estimate

import "math"

// split is what is known beforehand of how an element's loop is shared between its
// rails. Pair voltages hardly tell, yet the rails' currents depend on it wherever
// there are two ways; without it a fit would balance a plus of an ohm against a
// minus of less than nothing. It enters the fit as one more residual,
//
//	z = (r₊ − r₋ − s·(r₊ + r₋)) / (2·spread·(r₊ + r₋ + r₀) + 2·jointSplits·b),
//
// which costs little even where one rail is open. Here s is what the reels of one strip have
// in common, and nothing of anything else; b is what a feed has beyond its wire, which may
// all be one bad contact.
type split struct {
	at     [2]int // unknowns
	bent   bool
	about  int // unknown of the share that it lies about; even: none
	spread float64
	wire   float64 // Ω, a feed's loop as stated; 0 = nothing is
	idle   bool    // one of the rails is held open: there is nothing to share
}

// even is the share of what lies about none.
const even = -1

// How far a split lies about even, as the deviation of either rail's part of the loop; all are
// common practice, no source, and wide on purpose.
const (
	jointSplits = 0.29  // even between all in one rail and all in the other
	feedSplits  = 0.025 // two conductors of one cable; see split for a bad contact
	cableSplits = 0.12  // the same where nothing is stated of it
	reelSplits  = 0.05  // two rails of one foil
)

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
	scale, growth := 2*s.spread*sum, 2*s.spread // and its derivative by the sum
	if s.bent {
		scale += 2 * s.spread * splitOhms
	}
	if s.wire > 0 {
		off := sum - s.wire
		root := math.Hypot(off, 2*splitOhms)
		scale += jointSplits * (off + root)
		growth += jointSplits * (1 + off/root)
	}
	share := 0.0
	if s.about != even {
		share = x[s.about]
		about = -sum / scale
	}
	z = (r[0] - r[1] - share*sum) / scale
	slopes[0] *= (1 - share - z*growth) / scale
	slopes[1] *= (-1 - share - z*growth) / scale
	return z, slopes, about
}

// row writes z's derivatives by all unknowns, and returns z.
func (s split) row(x, row []float64) float64 {
	z, slopes, about := s.deviations(x)
	clear(row)
	row[s.at[0]], row[s.at[1]] = slopes[0], slopes[1]
	if s.about != even {
		row[s.about] = about
	}
	return z
}

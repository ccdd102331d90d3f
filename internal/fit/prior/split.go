package prior

import (
	"math"
)

// Split is what is known beforehand of how an element's loop is shared between its
// rails. Pair voltages hardly tell, yet the rails' currents depend on it wherever
// there are two ways; without it a fit would balance a plus of an ohm against a
// minus of less than nothing. It enters the fit as one more residual,
//
//	z = (r₊ − r₋ − s·(r₊ + r₋)) / (2·spread·(r₊ + r₋ + r₀) + 2·JointSplits·b),
//
// which costs little even where one rail is open. Here s is what the reels of one strip have
// in common, and nothing of anything else; b is what a feed has beyond its wire, which may
// all be one bad contact.
type Split struct {
	Rails       [2]int // unknowns
	Transformed bool
	ShareAbout  int // unknown of the share that it lies about; Even: none
	Spread      float64
	Wire        float64 // Ω, a feed's loop as stated; 0 = nothing is
	Disabled    bool    // one of the rails is held open: there is nothing to share
}

// Even is the share of what lies about none.
const EvenShare = -1

// How far a split lies about even, as the deviation of either rail's part of the loop; all are
// common practice, no source, and wide on purpose.
const (
	JointSplitSpread = 0.29  // even between all in one rail and all in the other
	FeedSplitSpread  = 0.025 // two conductors of one cable; see Split for a bad contact
	CableSplitSpread = 0.12  // the same where nothing is stated of it
	ReelSplitSpread  = 0.05  // two rails of one foil
)

// splitOhms is r₀: below it nobody cares about the split.
const minSplitOhms = 0.001

// deviations is z, and its derivatives by the two unknowns and by the share about which
// it lies.
func (s Split) normalisedResidual(x []float64) (z float64, slopes [2]float64, about float64) {
	if s.Disabled {
		return 0, slopes, 0
	}
	var r [2]float64
	for i, at := range s.Rails {
		if s.Transformed {
			r[i], slopes[i] = smoothOhms(x[at])
		} else if r[i] = math.Max(x[at], MinFactor); x[at] > MinFactor {
			slopes[i] = 1
		}
	}
	sum := r[0] + r[1]
	scale, growth := 2*s.Spread*sum, 2*s.Spread // and its derivative by the sum
	if s.Transformed {
		scale += 2 * s.Spread * minSplitOhms
	}
	if s.Wire > 0 {
		off := sum - s.Wire
		root := math.Hypot(off, 2*minSplitOhms)
		scale += JointSplitSpread * (off + root)
		growth += JointSplitSpread * (1 + off/root)
	}
	share := 0.0
	if s.ShareAbout != EvenShare {
		share = x[s.ShareAbout]
		about = -sum / scale
	}
	z = (r[0] - r[1] - share*sum) / scale
	slopes[0] *= (1 - share - z*growth) / scale
	slopes[1] *= (-1 - share - z*growth) / scale
	return z, slopes, about
}

// Row writes z's derivatives by all unknowns, and returns z.
func (s Split) Row(x, row []float64) float64 {
	z, slopes, about := s.normalisedResidual(x)
	clear(row)
	row[s.Rails[0]], row[s.Rails[1]] = slopes[0], slopes[1]
	if s.ShareAbout != EvenShare {
		row[s.ShareAbout] = about
	}
	return z
}

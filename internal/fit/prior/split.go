package prior

import (
	"math"
)

// Split is the prior of how an element's loop resistance divides between its rails. Pair voltages
// hardly show it, but the rail currents depend on it wherever there are two paths. Without it a
// fit could balance a plus of an ohm against a negative minus. It is one more residual of the
// fit,
//
//	z = (r₊ − r₋ − s·(r₊ + r₋)) / (2·spread·(r₊ + r₋ + r₀) + 2·JointSplitSpread·b),
//
// which stays small even where one rail is open. s is the common share of the reels of one strip
// type, zero for other elements; b is the resistance of a feed beyond its wire, which may all be
// one bad contact.
type Split struct {
	Rails       [2]int // unknowns
	Transformed bool   // the unknowns are transformed ohms, not factors
	ShareAbout  int    // unknown of the common share s; EvenShare without one
	Spread      float64
	Wire        float64 // Ω, a feed's stated loop resistance; 0 = not stated
}

// EvenShare stands for the unknown of the share where both rails are expected to be equal.
const EvenShare = -1

// Standard deviations of either rail's part of the loop about an even division; all are common
// practice, no source, and wide on purpose.
const (
	JointSplitSpread = 0.29  // rectangular between all in one rail and all in the other
	FeedSplitSpread  = 0.025 // two conductors of one cable; see Split for a bad contact
	CableSplitSpread = 0.12  // the same where the run file states no resistance
	ReelSplitSpread  = 0.05  // two rails of one foil
)

// minSplitOhms is r₀, Ω: below it the division does not matter.
const minSplitOhms = 0.001

// normalisedResidual returns z and its derivatives by the two rails and by the common share.
func (s Split) normalisedResidual(x []float64) (z float64, slopes [2]float64, shareSlope float64) {
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
		shareSlope = -sum / scale
	}
	z = (r[0] - r[1] - share*sum) / scale
	slopes[0] *= (1 - share - z*growth) / scale
	slopes[1] *= (-1 - share - z*growth) / scale
	return z, slopes, shareSlope
}

// Residual returns z and its derivatives by the unknowns.
func (s Split) Residual(x []float64) (z float64, by Derivatives) {
	z, slopes, about := s.normalisedResidual(x)
	by = Derivatives{{s.Rails[0], slopes[0]}, {s.Rails[1], slopes[1]}}
	if s.ShareAbout != EvenShare {
		by[2] = Derivative{s.ShareAbout, about}
	}
	return z, by
}

// Row writes the derivatives of z by all unknowns to row and returns z.
func (s Split) Row(x, row []float64) float64 {
	z, by := s.Residual(x)
	clear(row)
	by.AddTo(row, 1)
	return z
}

// Package colour computes colorimetry: tristimulus values of the CIE 1931 2° standard
// observer, chromaticity, the distance of two colours in CIE 1976 u'v',
// correlated colour temperature, and sRGB for pictures.
//
// Sums over wavelength run from 360 nm to 830 nm at 5 nm, which CIE 15 allows for
// most purposes and which reproduces the published chromaticities of the CIE
// illuminants to 0.00006. Tristimulus values add; luminance Y keeps the
// unit that it was given in.
package colour

import "math"

// XYZ holds tristimulus values. Y is the luminance or proportional to it.
type XYZ struct{ X, Y, Z float64 }

// XY is a CIE 1931 chromaticity.
type XY struct{ X, Y float64 }

// UV is a CIE 1976 chromaticity, u' and v'.
type UV struct{ U, V float64 }

// Plus returns the sum of two lights.
func (c XYZ) Plus(d XYZ) XYZ { return XYZ{c.X + d.X, c.Y + d.Y, c.Z + d.Z} }

// Times returns the light scaled by a factor.
func (c XYZ) Times(k float64) XYZ { return XYZ{k * c.X, k * c.Y, k * c.Z} }

// UV returns the chromaticity of a light: u' = 4X/(X + 15Y + 3Z), v' = 9Y/(X + 15Y + 3Z)
// (CIE 15). It is NaN where X, Y and Z are 0.
func (c XYZ) UV() UV {
	sum := c.X + 15*c.Y + 3*c.Z
	return UV{4 * c.X / sum, 9 * c.Y / sum}
}

// XY returns the CIE 1931 chromaticity of a light; NaN where X, Y and Z are 0.
func (c XYZ) XY() XY {
	sum := c.X + c.Y + c.Z
	return XY{c.X / sum, c.Y / sum}
}

// Light returns the tristimulus values of this chromaticity at a luminance. Its y must not
// be 0.
func (c XY) Light(luminance float64) XYZ {
	return XYZ{c.X * luminance / c.Y, luminance, (1 - c.X - c.Y) * luminance / c.Y}
}

// Real reports whether the chromaticity is inside the triangle of the CIE's imaginary
// primaries: x ≥ 0, y > 0, x + y ≤ 1. Every light is; not every such chromaticity is a light.
func (c XY) Real() bool { return c.X >= 0 && c.Y > 0 && c.X+c.Y <= 1 }

// UV returns the same chromaticity in CIE 1976 u', v'.
func (c XY) UV() UV {
	under := -2*c.X + 12*c.Y + 3
	return UV{4 * c.X / under, 9 * c.Y / under}
}

// XY returns the same chromaticity in CIE 1931 x, y.
func (c UV) XY() XY {
	under := 6*c.U - 16*c.V + 12
	return XY{9 * c.U / under, 4 * c.V / under}
}

// Distance returns the Euclidean distance Δu'v' of two colours. A u'v' circle of one MacAdam
// step has the radius 0.0011 (CIE TN 001:2014, from memory).
func (c UV) Distance(d UV) float64 { return math.Hypot(c.U-d.U, c.V-d.V) }

// Sum returns the tristimulus values of a spectral power distribution, power per nm
// at a wavelength in nm, not normalised.
func Sum(power func(nm float64) float64) XYZ {
	var sum XYZ
	for i, o := range observer {
		p := power(firstNM+stepNM*float64(i)) * stepNM
		sum = sum.Plus(XYZ{p * o[0], p * o[1], p * o[2]})
	}
	return sum
}

// Peak returns the chromaticity of an LED from its peak wavelength and the full
// width of its spectrum at half of the peak, both in nm. The spectrum is taken as
// a Gaussian; real ones are slightly skewed towards long wavelengths. Widths below 10 nm
// are narrower than the 5 nm table resolves.
func Peak(nm, width float64) XY {
	return Sum(func(at float64) float64 {
		d := (at - nm) / width
		return math.Exp(-4 * math.Ln2 * d * d)
	}).XY()
}

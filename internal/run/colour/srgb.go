package colour

import "math"

// SRGB returns the sRGB bytes of a light (IEC 61966-2-1: primaries of ITU-R BT.709,
// white D65). White of luminance 1 gives 255, 255, 255. A colour outside the gamut is moved
// towards grey of the same luminance until it is inside; one that is too bright is dimmed at
// the same chromaticity.
func SRGB(c XYZ) [3]uint8 {
	linear, top := screen(c)
	top = math.Max(top, 1)
	var out [3]uint8
	for i, x := range linear {
		out[i] = uint8(math.Round(255 * companded(x/top)))
	}
	return out
}

// Exposure returns the factor that makes a light as bright as a screen can show its colour;
// 1 for no light.
func Exposure(c XYZ) float64 {
	if _, top := screen(c); top > 0 {
		return 1 / top
	}
	return 1
}

// screen returns the linear intensities of sRGB's three primaries, each at least 0, and the
// largest of them.
func screen(c XYZ) (linear [3]float64, top float64) {
	linear = [3]float64{
		3.2406*c.X - 1.5372*c.Y - 0.4986*c.Z,
		-0.9689*c.X + 1.8758*c.Y + 0.0415*c.Z,
		0.0557*c.X - 0.2040*c.Y + 1.0570*c.Z,
	}
	grey, keep := math.Max(c.Y, 0), 1.0
	for _, x := range linear {
		if x < 0 && grey > x {
			keep = math.Min(keep, grey/(grey-x))
		}
	}
	for i, x := range linear {
		linear[i] = math.Max(grey+keep*(x-grey), 0)
		top = math.Max(top, linear[i])
	}
	return linear, top
}

// companded returns the sRGB transfer function of linear light; both are 0 to 1.
func companded(x float64) float64 {
	if !(x > 0.0031308) {
		return 12.92 * math.Max(x, 0)
	}
	return 1.055*math.Pow(math.Min(x, 1), 1/2.4) - 0.055
}

package prior

import (
	"math"
)

// CauchyLoss transforms a residual r so that its square is c²·ln(1 + r²/c²), the Cauchy loss:
// about r while it is small beside c, with little influence far beyond. It returns the slope too.
func CauchyLoss(r, c float64) (soft, slope float64) {
	if math.Abs(r) < 1e-6 {
		return r, 1
	}
	soft = math.Copysign(c*math.Sqrt(math.Log1p(r*r/(c*c))), r)
	return soft, r / (1 + r*r/(c*c)) / soft
}

// pseudoHuberLoss transforms a residual r so that its square is 2c²·(√(1 + r²/c²) − 1), the
// pseudo-Huber loss: about r while it is small beside c, with constant influence far beyond.
// Unlike the Cauchy loss it is convex. It returns the slope too.
func pseudoHuberLoss(r, c float64) (light, slope float64) {
	if math.Abs(r) < 1e-6 {
		return r, 1
	}
	root := math.Sqrt(1 + r*r/(c*c))
	light = math.Copysign(math.Sqrt(2*(root-1))*c, r)
	return light, r / root / light
}

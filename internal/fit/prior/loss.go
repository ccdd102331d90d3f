package prior

import (
	"math"
)

// Soften turns a residual into one whose square is c²·ln(1 + r²/c²), the Cauchy loss:
// about itself while it is small beside c, and hardly pulling at all once it is far
// beyond. It gives the slope too.
func CauchyLoss(r, c float64) (soft, slope float64) {
	if math.Abs(r) < 1e-6 {
		return r, 1
	}
	soft = math.Copysign(c*math.Sqrt(math.Log1p(r*r/(c*c))), r)
	return soft, r / (1 + r*r/(c*c)) / soft
}

// lighten turns a residual into one whose square is 2c²·(√(1 + r²/c²) − 1): about itself
// while it is small beside c, and pulling alike however far it lies beyond. Unlike soften
// it has one minimum alone. It gives the slope too.
func pseudoHuberLoss(r, c float64) (light, slope float64) {
	if math.Abs(r) < 1e-6 {
		return r, 1
	}
	root := math.Sqrt(1 + r*r/(c*c))
	light = math.Copysign(math.Sqrt(2*(root-1))*c, r)
	return light, r / root / light
}

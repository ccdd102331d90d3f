package colour

import (
	"math"
	"sync"
)

// secondRadiation is c₂ = hc/k in m·K as CIE 15:2004 has it. With today's exact
// constants a temperature comes out up to 0.12 K lower.
const secondRadiation = 1.4388e-2

// Range of temperatures looked through, and the ratio of neighbouring ones (Ohno's
// table has 1 % as well).
const (
	coldest = 1000.0
	hottest = 100_000.0
	ratio   = 1.01
)

// farthest is the distance from the Planckian locus up to which a temperature
// means anything (CIE 15).
const farthest = 0.05

// planck is the colour of a full radiator at so many kelvin.
func planck(kelvin float64) UV {
	return Sum(func(nm float64) float64 {
		metres, x := nm*1e-9, 560/nm
		return x * x * x * x * x / math.Expm1(secondRadiation/(metres*kelvin))
	}).UV()
}

// locus is the Planckian locus from coldest to hottest.
var locus = sync.OnceValue(func() []UV {
	var list []UV
	for t := coldest; t < hottest*ratio; t *= ratio {
		list = append(list, planck(t))
	}
	return list
})

// apart is the squared distance of two colours on the diagram that correlated
// colour temperature is defined on, (u', 2v'/3), which is CIE 1960 u, v.
func apart(c, d UV) float64 {
	du, dv := c.U-d.U, (c.V-d.V)*2/3
	return du*du + dv*dv
}

// Temperature returns the correlated colour temperature in kelvin and Duv, the
// distance from the Planckian locus on the (u', 2v'/3) diagram, above it
// positive (Ohno, LEUKOS 10 (2014) 47). Instead of Ohno's two cases the squared
// distance, which is smooth on the locus and off it, is minimised: a parabola
// through three temperatures 1 % apart, and once more through three closer ones.
// It is not ok below 1000 K, above 100 000 K, further from the locus than 0.05,
// and for darkness.
func Temperature(c UV) (kelvin, duv float64, ok bool) {
	list := locus()
	best := 0
	for i, p := range list {
		if apart(c, p) < apart(c, list[best]) {
			best = i
		}
	}
	if best == 0 || best == len(list)-1 || !(apart(c, list[best]) < 1) {
		return math.NaN(), math.NaN(), false
	}
	t := coldest * math.Pow(ratio, float64(best))
	t *= math.Pow(ratio, vertex(apart(c, list[best-1]), apart(c, list[best]), apart(c, list[best+1])))
	const fine = 1.0005
	for range 2 {
		t *= math.Pow(fine, vertex(apart(c, planck(t/fine)), apart(c, planck(t)), apart(c, planck(t*fine))))
	}
	p := planck(t)
	// Above the locus is the side of greater v' at the same temperature.
	duv = math.Copysign(math.Sqrt(apart(c, p)), above(c, t))
	return t, duv, math.Abs(duv) <= farthest
}

// vertex is where the parabola through three values at −1, 0 and 1 is least.
func vertex(a, b, c float64) float64 {
	bend := a - 2*b + c
	if bend <= 0 {
		return 0
	}
	return math.Max(-1, math.Min(1, (a-c)/(2*bend)))
}

// above is positive for a colour above the Planckian locus at a temperature.
func above(c UV, kelvin float64) float64 {
	a, p, b := planck(kelvin/1.001), planck(kelvin), planck(kelvin*1.001)
	// The locus runs towards smaller u as it gets hotter; its left is below it.
	return (b.V-a.V)*(c.U-p.U) - (b.U-a.U)*(c.V-p.V)
}

// White returns the chromaticity of a white light of a correlated colour
// temperature and a Duv.
func White(kelvin, duv float64) XY {
	a, p, b := planck(kelvin/1.001), planck(kelvin), planck(kelvin*1.001)
	du, dv := b.U-a.U, (b.V-a.V)*2/3
	length := math.Hypot(du, dv)
	// At a right angle to the locus on the (u', 2v'/3) diagram, upwards.
	return UV{p.U + duv*dv/length, p.V - duv*du/length*1.5}.XY()
}

package colour

import (
	"math"
	"sync"
)

// secondRadiation is c₂ = hc/k in m·K as in CIE 15:2004. With the exact constants of the SI
// of 2019 temperatures are up to 0.12 K lower.
const secondRadiation = 1.4388e-2

// Range of temperatures searched, K, and the ratio of neighbouring ones (1 %, as in Ohno's
// table).
const (
	coldest = 1000.0
	hottest = 100_000.0
	ratio   = 1.01
)

// farthest is the distance from the Planckian locus on the (u', 2v'/3) diagram up to which
// a correlated colour temperature is defined (CIE 15).
const farthest = 0.05

// planck returns the chromaticity of a full radiator at a temperature, K.
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

// apart returns the squared distance of two colours on the diagram on which correlated
// colour temperature is defined, (u', 2v'/3), which is CIE 1960 u, v.
func apart(c, d UV) float64 {
	du, dv := c.U-d.U, (c.V-d.V)*2/3
	return du*du + dv*dv
}

// Temperature returns the correlated colour temperature in kelvin and Duv, the
// distance from the Planckian locus on the (u', 2v'/3) diagram, positive above it
// (Ohno, LEUKOS 10 (2014) 47). Instead of Ohno's two cases it minimises the squared
// distance, which is smooth on and off the locus: with a parabola through three
// temperatures 1 % apart, then with parabolas through closer ones. ok is false below
// 1000 K, above 100 000 K, further from the locus than 0.05, and without light.
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
	// Above the locus means larger v' at the same temperature.
	duv = math.Copysign(math.Sqrt(apart(c, p)), above(c, t))
	return t, duv, math.Abs(duv) <= farthest
}

// vertex returns where the parabola through values a, b, c at −1, 0 and 1 is least, within
// −1 to 1.
func vertex(a, b, c float64) float64 {
	bend := a - 2*b + c
	if bend <= 0 {
		return 0
	}
	return math.Max(-1, math.Min(1, (a-c)/(2*bend)))
}

// above returns a positive number for a colour above the Planckian locus at a temperature.
func above(c UV, kelvin float64) float64 {
	a, p, b := planck(kelvin/1.001), planck(kelvin), planck(kelvin*1.001)
	// Towards higher temperature the locus goes to smaller u', so its left side is below it.
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

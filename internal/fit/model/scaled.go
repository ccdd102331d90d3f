package model

import (
	"math"
	"slices"

	"ohmkeep/internal/network/ladder"
)

// scaled are coordinates y in which the sum of squares is nearer to a parabola than in the unknowns x. At the
// fit, of index 0, they have the values and the first derivatives of the unknowns. An unknown that is the logarithm of
// a factor on currents is replaced by that factor, because readings of currents are linear in it:
//
//	1 + y − y₀ = e^(x−x₀),
//
// and so are the factors of a step, with the scale of the run's and the step's currents together in the
// place of x. Readings of voltages determine the product of a resistance and its current better than each of
// them, and the product of a reel's copper and its temperature factor. A resistance is therefore replaced by
//
//	y = x·m·f − x₀·(m + f − 2),  f = (1 + α(T − 20 °C))/(1 + α(T₀ − 20 °C)),
//
// where m is the current of the brightest step as a part of that of the fit, and f of the mean temperature
// of the steps is for reels only. Other unknowns are as they are.
type scaled struct {
	fit         []float64
	ohms, reels []int   // resistances
	scale, idle int     // unknowns
	steps       []int   // by step: unknown of its scale
	brightest   int     // index of a step
	lit         float64 // the part of its current that is not idle
	warmths     []weight
	copper      float64 // 1 + α(T₀ − 20 °C)
}

// weight is that of an unknown in a sum.
type weight struct {
	unknown int
	part    float64
}

// maxScaled is the largest transformed resistance that is replaced. Larger ones limit the current themselves.
const maxScaled = 0.5

// scaledAbout returns the coordinates about a fit. One unknown stays as it is.
func (m *Model) scaledAbout(a Assumptions, fit []float64, except int) *scaled {
	s := &scaled{fit: fit}
	part := 1 / float64(len(m.Steps))
	for j, u := range m.Unknowns {
		switch u.What {
		case JointRail, FeedRail, SupplyOhms:
			if fit[j] < maxScaled && j != except {
				s.ohms = append(s.ohms, j)
			}
		case ReelRail:
			if j != except {
				s.reels = append(s.reels, j)
			}
		case CurrentScale:
			s.scale = j
		case IdleCurrentScale:
			s.idle = j
		case StepCurrentScale:
			s.steps = append(s.steps, j)
		case CopperTemperature:
			s.warmths = append(s.warmths, weight{j, 1})
		case StepTemperature:
			s.warmths = append(s.warmths, weight{j, part})
		}
	}
	s.copper = s.copperAt(fit)
	most := 0.0
	for k, read := range m.stepsRead {
		if !read {
			continue
		}
		state := m.StateAt(a, k, fit)
		for i := range state.loads {
			load, v := &state.loads[i], m.Run.Reels[i].Strip.Volts
			if amps, _ := load.Current(v); amps > most {
				by, _, _, _ := load.Partials(v)
				most, s.brightest, s.lit = amps, k, by*state.Adjust.Scale/amps
			}
		}
	}
	return s
}

// copperAt returns the factor on copper's resistance at 20 °C.
func (s *scaled) copperAt(x []float64) float64 {
	sum := 0.0
	for _, w := range s.warmths {
		sum += w.part * x[w.unknown]
	}
	return 1 + ladder.CopperTempCo*(sum-20)
}

// minScale is the least factor on currents.
const minScale = 0.1

// factors returns the factors on the idle current, on each step's and on that of all readings, and on copper.
func (s *scaled) factors(y []float64) (idle float64, steps []float64, m, f float64) {
	idle = math.Max(1+y[s.idle]-s.fit[s.idle], minScale)
	for _, j := range s.steps {
		steps = append(steps, math.Max(1+y[s.scale]-s.fit[s.scale]+y[j]-s.fit[j], minScale))
	}
	return idle, steps, s.lit*steps[s.brightest] + (1-s.lit)*idle, s.copperAt(y) / s.copper
}

// unknowns returns the unknowns at coordinates.
func (s *scaled) unknowns(y []float64) []float64 {
	x := slices.Clone(y)
	idle, steps, m, f := s.factors(y)
	x[s.idle] = s.fit[s.idle] + math.Log(idle)
	for k, j := range s.steps {
		x[j] = s.fit[j] + math.Log(steps[k]) - (y[s.scale] - s.fit[s.scale])
	}
	for _, j := range s.ohms {
		x[j] = (y[j] + s.fit[j]*(m-1)) / m
	}
	for _, j := range s.reels {
		x[j] = (y[j] + s.fit[j]*(m+f-2)) / (m * f)
	}
	return x
}

// coordinates returns those of unknowns.
func (s *scaled) coordinates(x []float64) []float64 {
	y := slices.Clone(x)
	y[s.idle] = s.fit[s.idle] + math.Exp(x[s.idle]-s.fit[s.idle]) - 1
	scale := x[s.scale] - s.fit[s.scale]
	for _, j := range s.steps {
		y[j] = s.fit[j] + math.Exp(scale+x[j]-s.fit[j]) - 1 - scale
	}
	_, _, m, f := s.factors(y)
	for _, j := range s.ohms {
		y[j] = x[j]*m - s.fit[j]*(m-1)
	}
	for _, j := range s.reels {
		y[j] = x[j]*m*f - s.fit[j]*(m+f-2)
	}
	return y
}

// gradient turns derivatives by unknown at x into those by coordinate at y.
func (s *scaled) gradient(x, y, by []float64) []float64 {
	out := slices.Clone(by)
	idle, steps, m, f := s.factors(y)
	byCurrent, byCopper := 0.0, 0.0
	for _, j := range s.ohms {
		out[j] /= m
		byCurrent += out[j] * (s.fit[j] - x[j])
	}
	for _, j := range s.reels {
		out[j] /= m * f
		byCurrent += out[j] * (s.fit[j] - x[j]*f)
		byCopper += out[j] * (s.fit[j] - x[j]*m)
	}
	out[s.idle] = by[s.idle]/idle + (1-s.lit)*byCurrent
	for k, j := range s.steps {
		out[j] /= steps[k]
		out[s.scale] += out[j] - by[j]
	}
	out[s.steps[s.brightest]] += s.lit * byCurrent
	out[s.scale] += s.lit * byCurrent
	for _, w := range s.warmths {
		out[w.unknown] += w.part * ladder.CopperTempCo / s.copper * byCopper
	}
	return out
}

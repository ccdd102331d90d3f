package colourloss

import (
	"cmp"
	"math"
	"slices"

	"ohmkeep/internal/advise/interval"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/light"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/numeric/shapley"
	"ohmkeep/internal/run"
)

// What is split, in this order, for the best estimate and for every draw.
const (
	volts = iota
	shift
	dimming
	quantities
)

const (
	draws = 500 // the ends of a 95 % interval are known within a tenth of it
	seed  = 1976
)

// explain sets the examined pixel and, if split is set, the shares of its causes.
func (m *maker) explain(at run.Place, split bool) error {
	net, err := ladder.New(m.run, append(m.real.DrainPlaces(), at)...)
	if err != nil {
		return err
	}
	g, solver := net.NewGradient(), net.NewSolver()
	if err := solver.Solve(&m.real, m.loads); err != nil {
		return ladder.Explain(m.run, err)
	}
	plus, minus := run.Point{Place: at}, run.Point{Place: at, Rail: run.Minus}
	if err := solver.VoltageGradient(plus, minus, g); err != nil {
		return err
	}
	var players []player // none: the only coalition is the whole run
	if split {
		players = m.players(g)
	}
	strip := m.run.Reels[at.Index].Strip
	top := 0.0
	for i, s := range m.real.Supplies {
		top = math.Max(top, math.Max(s.Volts, m.rated(i)))
	}

	emitters := []light.Emitter{m.emitters[at.Index]}
	var off [][]float64
	if m.fitted != nil {
		off = m.fitted.Draws(draws, seed)
		for k, d := range off {
			by := m.fitted.FittedStateAt(m.index, d).Adjust
			if k/2%2 == 1 { // draws come in mirrored pairs
				by.Shape = pixel.Ramp
				by.Shift += m.straight
			}
			emitters = append(emitters, light.New(strip, m.step.Levels, by.AtReel(at.Index, len(m.run.Reels))))
		}
	}
	// look writes what is seen at volts v, the best estimate first.
	var moving []int // unknowns that the volts depend on
	look := func(v float64, slopes []float64, out []float64) {
		moving = moving[:0]
		for i, slope := range slopes {
			if slope != 0 {
				moving = append(moving, i)
			}
		}
		for k := range emitters {
			now := v
			if k > 0 {
				d := off[k-1]
				for _, i := range moving {
					now += slopes[i] * d[i]
				}
				now = math.Max(0, math.Min(now, 1.1*top))
			}
			seen := emitters[k].Output(now)
			out[quantities*k+volts] = strip.Volts - now
			out[quantities*k+shift] = seen.Shift
			out[quantities*k+dimming] = 1 - seen.Part
		}
	}
	par := ladder.Stated(m.run)
	par.Drains = m.real.Drains // no player's
	all := shapley.Set(1)<<len(players) - 1
	whole := make([]float64, quantities*len(emitters))
	shares, err := shapley.Split(len(players), len(whole), func(s shapley.Set, out []float64) error {
		m.coalition(players, s, &par)
		if m.falling() {
			solver.Restart() // of several solutions the one with the higher volts applies
		}
		if err := solver.Solve(&par, m.loads); err != nil {
			return ladder.Explain(m.run, err)
		}
		var slopes []float64
		if m.fitted != nil {
			if err := solver.VoltageGradient(plus, minus, g); err != nil {
				return err
			}
			clearIdeal(players, s, g)
			slopes = m.fitted.Gradient(m.index, g)
		}
		look(solver.Potential(plus)-solver.Potential(minus), slopes, out)
		if s == all {
			copy(whole, out)
		}
		return nil
	})
	if err != nil {
		return err
	}
	m.fillSpot(at, whole)
	m.out.Shares = nil
	for i, p := range players {
		m.out.Shares = append(m.out.Shares, m.share(p, shares[i]))
	}
	slices.SortStableFunc(m.out.Shares, func(a, b Share) int { return cmp.Compare(b.Volts.Value, a.Volts.Value) })
	return nil
}

// falling reports whether any pixel draws less current at more volts.
func (m *maker) falling() bool {
	return slices.ContainsFunc(m.run.Reels, func(r run.Reel) bool { return r.Strip.Driver == run.Regulated })
}

func (m *maker) fillSpot(at run.Place, whole []float64) {
	rated := m.run.Reels[at.Index].Strip.Volts
	lost := known(whole, volts)
	emitter := &m.emitters[at.Index]
	m.out.Worst = Spot{
		Place: at, Name: m.run.PlaceName(at),
		Volts: interval.New(rated-lost.Value, rated-lost.High, rated-lost.Low),
		Shift: known(whole, shift), Dimming: known(whole, dimming),
		Whiteness: whiteness(emitter.Full()), SeenAs: whiteness(emitter.At(rated - lost.Value)),
	}
}

func (m *maker) share(p player, of []float64) Share {
	s := Share{Kind: p.kind, Volts: known(of, volts), Shift: known(of, shift), Dimming: known(of, dimming)}
	for _, k := range p.which {
		switch p.kind {
		case run.KindSupply:
			s.Names = append(s.Names, m.run.Supplies[k].Name)
		case run.KindFeed:
			s.Names = append(s.Names, m.run.Feeds[k].Name)
		case run.KindJoint:
			s.Names = append(s.Names, m.run.Joints[k].Name)
		}
	}
	return s
}

// known returns one quantity's best value and the interval that 95 % of the draws
// lie in.
func known(of []float64, quantity int) interval.Interval {
	value := of[quantity]
	n := len(of)/quantities - 1
	if n == 0 {
		return interval.Exact(value)
	}
	list := make([]float64, n)
	for k := range list {
		list[k] = of[quantities*(k+1)+quantity]
	}
	slices.Sort(list)
	outside := int(0.025 * float64(n))
	return interval.New(value, math.Min(value, list[outside]), math.Max(value, list[n-1-outside]))
}

package loadlimit

import (
	"errors"
	"fmt"
	"math"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/light"
	"ohmkeep/internal/network/limits"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// Circuit solves a run under loads. It is for one goroutine.
type Circuit struct {
	is     Condition
	allow  Allowances
	mix    Mix
	solver *ladder.Solver
	loads  []pixel.Load
	lights []light.Emitter // by reel, at the level of the last load
	plus   []float64
	minus  []float64
	fresh  bool // regulated drivers: each load is solved from dark, since its state depends on the one before
	state  State
}

// State is a run under one load.
type State struct {
	Level        float64
	Limiter      float64 // A, see Mix.Limiter
	Amps         float64 // A that all supplies deliver
	LeastVolt    float64 // V, the lowest pair of any pixel
	Reel         string  // where that is
	Pixel        int
	Utilisations [limits.Criteria]limits.Utilisation
}

// Worst is the criterion that uses up the most of its limit.
func (s *State) Worst() limits.Utilisation {
	worst := s.Utilisations[0]
	for _, u := range s.Utilisations[1:] {
		if u.Ratio() > worst.Ratio() {
			worst = u
		}
	}
	return worst
}

// Holds reports whether every limit is kept.
func (s *State) Holds() bool { worst := s.Worst(); return worst.Holds() }

// New sets up the network of a run that shows a colour. It returns an error if no supply reaches a
// part of it.
func New(is Condition, mix Mix, allow Allowances) (*Circuit, error) {
	net, err := ladder.New(is.Run, is.Parameters.DrainPlaces()...)
	if err != nil {
		return nil, err
	}
	r := is.Run
	c := &Circuit{is: is, allow: allow.withDefaults(), mix: mix, solver: net.NewSolver(),
		loads: make([]pixel.Load, len(r.Reels)), lights: make([]light.Emitter, len(r.Reels))}
	longest := 0
	for _, reel := range r.Reels {
		longest = max(longest, reel.Pixels)
		c.fresh = c.fresh || reel.Strip.Driver == run.Regulated
	}
	c.plus, c.minus = make([]float64, longest), make([]float64, longest)
	return c, nil
}

// SetParameters sets the resistances and pixels of the network, such as those one standard
// deviation away.
func (c *Circuit) SetParameters(p ladder.Parameters, by pixel.Adjust) {
	c.is.Parameters, c.is.Adjust = p, by
}

// Solve solves the run at a level of the colour and returns the utilisation of each limit. The
// result is overwritten by the next Solve. It returns an error if the network cannot be solved.
func (c *Circuit) Solve(level float64) (*State, error) {
	r := c.is.Run
	step := c.mix.at(level)
	var before pixel.Adjust
	for i, reel := range r.Reels {
		by := c.is.Adjust.AtReel(i, len(r.Reels))
		same := by == before
		before = by
		if i > 0 && same && sameStrip(&reel.Strip, &r.Reels[i-1].Strip) {
			c.loads[i], c.lights[i] = c.loads[i-1], c.lights[i-1]
			continue
		}
		c.loads[i] = pixel.New(reel.Strip, step.Levels, by)
		c.lights[i] = light.New(reel.Strip, step.Levels, by)
	}
	if c.fresh {
		c.solver.Restart()
	}
	s := &c.state
	*s = State{Level: level, Limiter: c.mix.Limiter(r, level), LeastVolt: math.Inf(1)}
	for i := range s.Utilisations {
		s.Utilisations[i].Criterion = limits.Criterion(i)
	}
	s.Utilisations[limits.Colour].Limit, s.Utilisations[limits.Brightness].Limit = r.Limits.ColourShift, r.Limits.Dimming
	err := c.solver.Solve(&c.is.Parameters, c.loads)
	switch {
	case c.fresh && errors.Is(err, ladder.ErrDiverged):
		c.runsAway()
		return s, nil
	case err != nil:
		return nil, fmt.Errorf("%s at %.3g %%: %w", c.mix.Name, 100*level, err)
	}
	for i, x := range r.Supplies {
		amps := c.solver.SupplyAmps(i)
		if connected(r, i) {
			s.Amps += amps
			s.most(limits.OfSupply(x, amps))
		}
	}
	c.feeds()
	c.joints()
	for i := range r.Reels {
		c.reel(i)
	}
	c.data()
	return s, nil
}

// runsAway sets the state of a load that has no steady state: regulated pixels draw more as their
// volts fall, until they drop out.
func (c *Circuit) runsAway() {
	s := &c.state
	for i, reel := range c.is.Run.Reels {
		if reel.Strip.Driver == run.Regulated {
			s.LeastVolt, s.Reel, s.Pixel = 0, reel.Name, 1
			s.most(steady(reel.Name, 1, math.Max(c.minimum(&reel), 1e-3), 0))
			s.most(limits.OfBrightness(c.is.Run, i, 1, 1))
		}
	}
}

// connected reports whether any feed begins or ends at a supply.
func connected(r *run.Run, supply int) bool {
	for _, f := range r.Feeds {
		for _, end := range [2]run.Place{f.From, f.To} {
			if end.Kind == run.AtSupply && end.Index == supply {
				return true
			}
		}
	}
	return false
}

func sameStrip(a, b *run.Strip) bool {
	if a.Volts != b.Volts || a.Driver != b.Driver || a.Idle != b.Idle || len(a.Channels) != len(b.Channels) {
		return false
	}
	for i := range a.Channels {
		if a.Channels[i] != b.Channels[i] {
			return false
		}
	}
	return true
}

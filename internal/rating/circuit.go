package rating

import (
	"errors"
	"fmt"
	"math"

	"ohmkeep/internal/ladder"
	"ohmkeep/internal/light"
	"ohmkeep/internal/pixel"
	"ohmkeep/internal/run"
)

// Circuit tries loads on a run. It is for one goroutine.
type Circuit struct {
	is     Condition
	limits Limits
	mix    Mix
	solver *ladder.Solver
	loads  []pixel.Load
	lights []light.Law // by reel, at the level of the last load
	plus   []float64
	minus  []float64
	fresh  bool // regulated drivers: a state that is not reached from dark is none
	state  State
}

// State is a run under one load.
type State struct {
	Level     float64
	Limiter   float64 // A, see Mix.Limiter
	Amps      float64 // A that all supplies deliver
	LeastVolt float64 // V, the lowest pair of any pixel
	Reel      string  // where that is
	Pixel     int
	Uses      [criteria]Use
}

// Worst is the criterion that uses up the most of its limit.
func (s *State) Worst() Use {
	worst := s.Uses[0]
	for _, u := range s.Uses[1:] {
		if u.Ratio() > worst.Ratio() {
			worst = u
		}
	}
	return worst
}

// Holds tells whether every criterion does.
func (s *State) Holds() bool { worst := s.Worst(); return worst.Holds() }

// New wires up a run that shows a colour. The error tells that no supply reaches a
// part of it.
func New(is Condition, mix Mix, limits Limits) (*Circuit, error) {
	net, err := ladder.New(is.Run)
	if err != nil {
		return nil, err
	}
	r := is.Run
	c := &Circuit{is: is, limits: limits.withDefaults(), mix: mix, solver: net.NewSolver(),
		loads: make([]pixel.Load, len(r.Reels)), lights: make([]light.Law, len(r.Reels))}
	longest := 0
	for _, reel := range r.Reels {
		longest = max(longest, reel.Pixels)
		c.fresh = c.fresh || reel.Strip.Driver == run.Regulated
	}
	c.plus, c.minus = make([]float64, longest), make([]float64, longest)
	return c, nil
}

// Take makes the run another one of the same shape, such as one whose resistances
// differ by what is not known of them.
func (c *Circuit) Take(p ladder.Parameters, by pixel.Adjust) {
	c.is.Parameters, c.is.Adjust = p, by
}

// Try puts the colour on at a level and says how far each limit is used up. What
// it points to is overwritten by the next Try. The error tells that the currents
// found no balance.
func (c *Circuit) Try(level float64) (*State, error) {
	r := c.is.Run
	step := c.mix.at(level)
	for i, reel := range r.Reels {
		if i > 0 && sameStrip(&reel.Strip, &r.Reels[i-1].Strip) {
			c.loads[i], c.lights[i] = c.loads[i-1], c.lights[i-1]
			continue
		}
		c.loads[i] = pixel.New(reel.Strip, step.Levels, c.is.Adjust)
		c.lights[i] = light.New(reel.Strip, step.Levels, c.is.Adjust)
	}
	if c.fresh {
		c.solver.Restart()
	}
	s := &c.state
	*s = State{Level: level, Limiter: c.mix.Limiter(r, level), LeastVolt: math.Inf(1)}
	for i := range s.Uses {
		s.Uses[i].Criterion = Criterion(i)
	}
	s.Uses[Colour].Limit, s.Uses[Brightness].Limit = r.Limits.ColourShift, r.Limits.Dimming
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
		if hangs(r, i) {
			s.Amps += amps
			s.most(Supply, x.Name, 0, math.Abs(amps), continuous*x.Amps)
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

// runsAway says of a load that has no steady state: regulated pixels draw more as
// their volts fall, until they drop out.
func (c *Circuit) runsAway() {
	s := &c.state
	for _, reel := range c.is.Run.Reels {
		if reel.Strip.Driver == run.Regulated {
			s.LeastVolt, s.Reel, s.Pixel = 0, reel.Name, 1
			s.most(Steady, reel.Name, 1, math.Max(c.minimum(&reel), 1e-3), 1e-3)
			s.most(Brightness, reel.Name, 1, 1, s.Uses[Brightness].Limit)
		}
	}
}

// hangs tells whether any feed begins or ends at a supply.
func hangs(r *run.Run, supply int) bool {
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

// most keeps the use that is nearest to its limit.
func (s *State) most(c Criterion, subject string, pixel int, value, limit float64) {
	u := Use{Criterion: c, Subject: subject, Pixel: pixel, Value: value, Limit: limit}
	if have := &s.Uses[c]; have.Subject == "" || u.Ratio() > have.Ratio() {
		*have = u
	}
}

func (c *Circuit) feeds() {
	r, s := c.is.Run, &c.state
	for i, f := range r.Feeds {
		plus, minus := c.solver.FeedAmps(i, run.Plus), c.solver.FeedAmps(i, run.Minus)
		p := c.is.Parameters.Feeds[i]
		s.most(FeedDrop, f.Name, 0, math.Abs(drop(plus, p.Plus)+drop(minus, p.Minus)), r.Limits.FeedDrop*r.SupplyOf(i).Volts)
		amps := math.Max(math.Abs(plus), math.Abs(minus))
		if f.Fuse > 0 {
			s.most(Fuse, f.Name, 0, amps, f.Fuse)
		}
		if f.Ampacity > 0 {
			s.most(Ampacity, f.Name, 0, amps, f.Ampacity)
		}
	}
}

// drop is current times resistance; an open conductor carries nothing.
func drop(amps, ohms float64) float64 {
	if math.IsInf(ohms, 1) {
		return 0
	}
	return amps * ohms
}

func (c *Circuit) joints() {
	for i, j := range c.is.Run.Joints {
		plus, minus := c.solver.JointAmps(i, run.Plus), c.solver.JointAmps(i, run.Minus)
		p := c.is.Parameters.Joints[i]
		watts := plus*drop(plus, p.Plus) + minus*drop(minus, p.Minus)
		c.state.most(JointHeat, j.Name, 0, watts, c.limits.JointWatts)
	}
}

// reel looks at every pixel of a reel: its volts, its light, and whether it reads
// what the pixel before it sends.
func (c *Circuit) reel(i int) {
	reel, s, shine := &c.is.Run.Reels[i], &c.state, &c.lights[i]
	plus, minus := c.plus[:reel.Pixels], c.minus[:reel.Pixels]
	c.solver.Reel(i, plus, minus, nil)
	// One pass, without a call a pixel: this is where the time goes.
	least, at := math.Inf(1), 0
	worst, tight := 0.0, -1 // part of what the pixel before sends that the next one takes
	for k, p := range plus {
		v := p - minus[k]
		if v < least {
			least, at = v, k
		}
		if k > 0 {
			if sent := plus[k-1] - minus[k]; v > worst*sent {
				worst, tight = math.Inf(1), k
				if sent > 0 {
					worst = v / sent
				}
			}
		}
	}
	if least < s.LeastVolt {
		s.LeastVolt, s.Reel, s.Pixel = least, reel.Name, at+1
	}
	if knee := c.minimum(reel); knee > 0 {
		s.most(Steady, reel.Name, at+1, knee, math.Max(least, 1e-3))
	}
	if least >= shine.Flat() || shine.Dark() {
		s.most(Colour, reel.Name, at+1, 0, s.Uses[Colour].Limit)
		s.most(Brightness, reel.Name, at+1, 0, s.Uses[Brightness].Limit)
	} else {
		shift, lost, where, dimmest := 0.0, 0.0, at, at
		for k := range plus {
			seen := shine.See(plus[k] - minus[k])
			if seen.Shift > shift {
				shift, where = seen.Shift, k
			}
			if d := seen.Dimming(); d > lost {
				lost, dimmest = d, k
			}
		}
		s.most(Colour, reel.Name, where+1, shift, s.Uses[Colour].Limit)
		s.most(Brightness, reel.Name, dimmest+1, lost, s.Uses[Brightness].Limit)
	}
	if reel.Strip.Volts <= logicVolts && tight > 0 {
		c.high(reel.Name, tight+1, plus[tight-1], plus[tight], minus[tight])
	}
}

// minimum is the volts that the regulated pixels of a reel need, of the lit channels
// the highest; 0 for other drivers and in the dark. Below it they have run away.
func (c *Circuit) minimum(reel *run.Reel) float64 {
	knee := 0.0
	if reel.Strip.Driver == run.Regulated && c.state.Level > 0 {
		for _, ch := range reel.Strip.Channels {
			if c.mix.Levels[ch.Name] > 0 {
				knee = math.Max(knee, ch.Knee)
			}
		}
	}
	return knee
}

// high compares what a pixel takes for a high with what the output before it gives,
// both above the pixel's own minus.
func (c *Circuit) high(reel string, pixel int, sent, plus, minus float64) {
	if gives := sent - minus; gives > 0 {
		c.state.most(DataLevel, reel, pixel, highLevel*(plus-minus), gives)
	} else {
		c.state.most(DataLevel, reel, pixel, 2, 1) // nothing arrives at all
	}
}

// data looks at the first pixel of each reel, which the last pixel of the reel
// before it drives, or the controller, whose minus is that of the first supply.
func (c *Circuit) data() {
	r := c.is.Run
	end := func(reel, pixel int, rail run.Rail) float64 {
		return c.solver.Potential(run.Point{Place: run.Place{Kind: run.AtReel, Index: reel, Pixel: pixel}, Rail: rail})
	}
	for i, reel := range r.Reels {
		if reel.Strip.Volts > logicVolts {
			continue
		}
		sent := c.limits.DataVolts
		if reel.Follows >= 0 {
			if r.Reels[reel.Follows].Strip.Volts > logicVolts {
				continue
			}
			sent = end(reel.Follows, r.Reels[reel.Follows].Pixels, run.Plus)
		}
		c.high(reel.Name, 1, sent, end(i, 1, run.Plus), end(i, 1, run.Minus))
	}
}

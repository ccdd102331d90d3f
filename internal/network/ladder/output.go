package ladder

import (
	"math"

	"ohmkeep/internal/run"
)

// NoFeed is the feed of an Output that is a voltage.
const NoFeed = -1

// Output is a quantity of the solved network with its weight in a sum: V(From) − V(To), or FeedAmps
// of a feed. Its points must have nodes (see Potential).
type Output struct {
	From, To run.Point
	Feed     int // NoFeed for a voltage
	Rail     run.Rail
	Weight   float64
}

// VoltageGradient writes the derivatives of V(from) − V(to) at the last solution.
// Both points must have nodes (see Potential). It returns ErrSingular or nil.
func (s *Solver) VoltageGradient(from, to run.Point, g *Gradient) error {
	return s.SumGradient([]Output{{From: from, To: to, Feed: NoFeed, Weight: 1}}, g)
}

// FeedAmpsGradient writes the derivatives of FeedAmps at the last solution. It returns
// ErrSingular or nil.
func (s *Solver) FeedAmpsGradient(feed int, rail run.Rail, g *Gradient) error {
	return s.SumGradient([]Output{{Feed: feed, Rail: rail, Weight: 1}}, g)
}

// SumGradient writes the derivatives of a weighted sum of outputs at the last solution. It solves the
// adjoint equations once, however many outputs there are, since they are linear in the output. It
// returns ErrSingular or nil.
func (s *Solver) SumGradient(outputs []Output, g *Gradient) error {
	clear(s.adjoint)
	for i := range outputs {
		o := &outputs[i]
		if o.Feed == NoFeed {
			s.inject(s.net.node(o.From), o.Weight)
			s.inject(s.net.node(o.To), -o.Weight)
			continue
		}
		x := s.feedResistor(o)
		sign := o.Weight * s.conductance(x)
		if o.Rail == run.Minus {
			sign = -sign
		}
		s.inject(x.a, sign)
		s.inject(x.b, -sign)
	}
	if err := s.gradient(g); err != nil {
		return err
	}
	for i := range outputs {
		o := &outputs[i]
		if o.Feed == NoFeed {
			continue
		}
		// The current also depends on the conductor's own resistance directly.
		if ohms := s.ohms(s.feedResistor(o)); !math.IsInf(ohms, 1) {
			own := -o.Weight * s.FeedAmps(o.Feed, o.Rail) / ohms
			if o.Rail == run.Plus {
				g.Feeds[o.Feed].Plus += own
			} else {
				g.Feeds[o.Feed].Minus += own
			}
		}
	}
	return nil
}

func (s *Solver) feedResistor(o *Output) resistor {
	return s.net.resistors[s.net.feedRail[o.Feed][o.Rail]]
}

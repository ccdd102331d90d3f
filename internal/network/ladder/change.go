package ladder

import (
	"math"

	"ohmkeep/internal/run"
)

// Change holds changes of a network's resistances, Ω; those of reels are of a segment. Each slice is in the order of
// the run's.
type Change struct {
	Supplies []float64
	Reels    []Rails
	Joints   []Rails
	Feeds    []Rails
}

// NewChange returns a Change of the network's size, all zero.
func (n *Network) NewChange() *Change {
	r := n.run
	return &Change{Supplies: make([]float64, len(r.Supplies)), Reels: make([]Rails, len(r.Reels)),
		Joints: make([]Rails, len(r.Joints)), Feeds: make([]Rails, len(r.Feeds))}
}

// Respond computes how the potentials at the last solution follow a change of resistances, in proportion to it.
// It solves the nodal equations once for all outputs, where a Gradient takes one solution an output. It returns
// ErrSingular or nil.
func (s *Solver) Respond(c *Change) error {
	if err := s.factorise(); err != nil {
		return err
	}
	clear(s.response)
	for i, unknown := range s.net.current {
		if unknown != ground {
			s.response[unknown] += s.x[unknown] * c.Supplies[i]
		}
	}
	for _, x := range s.net.resistors {
		if change := c.of(x); change != 0 {
			ohms := s.ohms(x)
			s.drive(x.a, x.b, change*(at(s.x, x.a)-at(s.x, x.b))/(ohms*ohms))
		}
	}
	for i := range s.net.sections {
		s.driveSection(i, c.Reels[s.net.sections[i].reel])
	}
	s.matrix.Solve(s.response)
	return nil
}

// VoltageChange returns the change, V, of V(from) − V(to) by the last call of Respond. Both points must have nodes.
func (s *Solver) VoltageChange(from, to run.Point) float64 {
	return at(s.response, s.net.node(from)) - at(s.response, s.net.node(to))
}

// FeedAmpsChange returns the change, A, of FeedAmps by the last call of Respond, which had the same argument.
func (s *Solver) FeedAmpsChange(feed int, rail run.Rail, c *Change) float64 {
	x := s.net.resistors[s.net.feedRail[feed][rail]]
	if math.IsInf(s.ohms(x), 1) {
		return 0
	}
	change := (at(s.response, x.a) - at(s.response, x.b)) * s.conductance(x)
	if rail == run.Minus {
		change = -change
	}
	return change - s.FeedAmps(feed, rail)*c.of(x)*s.conductance(x)
}

// of returns the change of a resistor.
func (c *Change) of(x resistor) float64 {
	rails := c.Joints
	if x.kind == run.AtJunction {
		rails = c.Feeds
	}
	if x.rail == run.Plus {
		return rails[x.index].Plus
	}
	return rails[x.index].Minus
}

// drive adds a current, A, that flows from node b to node a besides.
func (s *Solver) drive(a, b int32, amps float64) {
	if a != ground {
		s.response[a] += amps
	}
	if b != ground {
		s.response[b] -= amps
	}
}

// driveSection adds the currents of a section whose reel's resistances change. sectionGradient has the derivative of
// an output as a linear function of the adjoint at the section's ends; by the symmetry of the equations its
// coefficients are the currents into these ends.
func (s *Solver) driveSection(i int, change Rails) {
	if change == (Rails{}) {
		return
	}
	sec := &s.net.sections[i]
	n := float64(sec.last - sec.first)
	v := s.volts[sec.offset+sec.first] - s.volts[sec.offset+sec.last]
	plus, minus := s.reelRails(sec.reel)
	loop := plus + minus
	ds := ((at(s.x, sec.at.plus)-at(s.x, sec.to.plus))/plus + (at(s.x, sec.at.minus)-at(s.x, sec.to.minus))/minus) / n
	both := change.Plus + change.Minus
	straight := ds * (change.Plus*minus - change.Minus*plus)
	s.drive(sec.at.plus, sec.at.minus, (straight+both*s.inside[i][0].product)/(loop*loop))
	s.drive(sec.to.plus, sec.to.minus, (-straight+both*s.inside[i][1].product)/(loop*loop))
	line := (ds*(change.Plus*minus*minus+change.Minus*plus*plus) + v*(change.Plus*minus-change.Minus*plus)/n) / (loop * loop)
	s.drive(sec.at.plus, sec.to.plus, line/plus)
	s.drive(sec.at.minus, sec.to.minus, line/minus)
}

// Package ladder solves the node voltages of a run: plus and minus rails
// separately, pixels as voltage-dependent loads between them, feeds, joints and
// supplies as resistors and sources. It also gives the derivatives of potentials
// and feed currents with respect to every resistance, supply and load.
//
// The method is nodal analysis with Newton's method. Inside a uniform reel the plus and minus
// potentials p and n obey p″ = r₊·i and n″ = −r₋·i (second differences along the
// pixels), so p/r₊ + n/r₋ is a straight line and only the pair voltage p − n needs
// a nonlinear solve. Its tridiagonal equations are eliminated down to the reel's ends. A
// small sparse system of supplies, junctions and reel ends remains. Time and memory are
// proportional to the number of pixels.
//
// Potentials are against the minus terminal of the first supply. In a part of a run that
// shares no conductor with that supply they are against the first supply of that part.
// Supplies are ideal sources behind their output resistance. Current may flow back into
// them; the caller decides what that means.
package ladder

import (
	"fmt"
	"slices"

	"ohmkeep/internal/network/ldl"
	"ohmkeep/internal/run"
)

// Rails are the resistances of the two conductors of one element, Ω. +Inf is an
// open conductor. That of a joint or feed may be some milliohms below zero, because errors of
// readings can make an estimate negative. A value within floorOhms of zero is taken as
// floorOhms, and so is a reel's below floorOhms.
type Rails struct{ Plus, Minus float64 }

// Source is a supply: volts without load and output resistance in ohms.
type Source struct{ Volts, Ohms float64 }

// Parameters are the values of a network that an estimate may change, each slice in the
// order of the run's. A reel's are Ω of one segment, between two neighbouring pixels.
// Resistances are those at the present temperature, not at 20 °C.
type Parameters struct {
	Supplies []Source
	Reels    []Rails
	Joints   []Rails
	Feeds    []Rails
	Drains   []Drain // nil for none
}

// Drain is a current that flows from one point to another besides those of pixels and conductors, A.
// Both points must have nodes (see New).
type Drain struct {
	From, To run.Point
	Amps     float64
}

// DrainPlaces returns the places that must have nodes because drains are connected there.
func (p *Parameters) DrainPlaces() (list []run.Place) {
	for _, d := range p.Drains {
		list = append(list, d.From.Place, d.To.Place)
	}
	return list
}

// floorOhms, Ω, keeps the conductance of a perfect connection finite. Its drop at 10 A is a
// tenth of a microvolt.
const floorOhms = 1e-8

// pair holds the plus and minus nodes of one place. ground is the reference node.
type pair struct{ plus, minus int32 }

const ground = -1

// section is the pixels of a reel between two neighbouring taps, ends included.
type section struct {
	reel        int
	first, last int  // pixel numbers less 1
	at, to      pair // nodes of the two ends
	offset      int  // of the reel's first pixel in the arrays of a Solver
}

// resistor is one conductor of a feed or joint.
type resistor struct {
	kind  run.PlaceKind // AtSupply never; AtJunction marks a feed, AtReel a joint
	index int
	rail  run.Rail
	a, b  int32
}

// Network is the topology of a run. It is not changed after New and may be shared by
// Solvers.
type Network struct {
	run       *run.Run
	unknowns  int
	taps      [][]int // by reel: pixel numbers that have nodes of their own, ascending
	tapNodes  [][]pair
	supplies  []pair
	current   []int32 // by supply: unknown number of its current, or ground where unused
	junctions []pair
	sections  []section
	resistors []resistor
	feedRail  [][2]int // by feed and rail: index into resistors
	offsets   []int    // by reel: first pixel in the arrays of a Solver
	pixels    int      // of the whole run
	head      []int    // unknowns that ldl must eliminate first, in this order
}

// New returns the network of a run. The places of extra get nodes of their own,
// so that potentials there have derivatives; reel ends, feed ends, supplies and
// junctions always have them. The error names a reel or junction that no supply reaches.
func New(r *run.Run, extra ...run.Place) (*Network, error) {
	n := &Network{run: r}
	n.layTaps(extra)
	if err := n.number(); err != nil {
		return nil, err
	}
	n.laySections()
	n.layResistors()
	return n, nil
}

// layTaps finds the pixels that need nodes of their own.
func (n *Network) layTaps(extra []run.Place) {
	r := n.run
	n.taps = make([][]int, len(r.Reels))
	for i, reel := range r.Reels {
		n.taps[i] = []int{1, reel.Pixels}
		n.offsets = append(n.offsets, n.pixels)
		n.pixels += reel.Pixels
	}
	tap := func(p run.Place) {
		if p.Kind == run.AtReel {
			n.taps[p.Index] = append(n.taps[p.Index], p.Pixel)
		}
	}
	for _, f := range r.Feeds {
		tap(f.To)
	}
	for _, p := range extra {
		tap(p)
	}
	for i := range n.taps {
		slices.Sort(n.taps[i])
		n.taps[i] = slices.Compact(n.taps[i])
	}
}

// number assigns an unknown to each node and each supply's current, and a reference node
// to each part of the run.
func (n *Network) number() error {
	r := n.run
	parts := newParts(r)
	grounded := map[int]bool{}
	next := int32(0)
	fresh := func() int32 { next++; return next - 1 }
	n.supplies = make([]pair, len(r.Supplies))
	n.current = make([]int32, len(r.Supplies))
	for i := range r.Supplies {
		if !parts.supplyUsed[i] {
			n.supplies[i], n.current[i] = pair{ground, ground}, ground
			continue
		}
		part := parts.find(parts.supply(i))
		n.supplies[i].plus = fresh()
		n.current[i] = fresh()
		n.head = append(n.head, int(n.supplies[i].plus), int(n.current[i]))
		if grounded[part] {
			n.supplies[i].minus = fresh()
		} else {
			n.supplies[i].minus = ground
			grounded[part] = true
		}
	}
	for i := range r.Junctions {
		if !parts.junctionUsed[i] { // spare, nothing is connected to it
			n.junctions = append(n.junctions, pair{ground, ground})
			continue
		}
		n.junctions = append(n.junctions, pair{fresh(), fresh()})
		if !grounded[parts.find(parts.junction(i))] {
			return fmt.Errorf("junction %q is connected to no supply", r.Junctions[i].Name)
		}
	}
	n.tapNodes = make([][]pair, len(r.Reels))
	for i, taps := range n.taps {
		if !grounded[parts.find(parts.reel(i))] {
			return fmt.Errorf("reel %q is connected to no supply", r.Reels[i].Name)
		}
		for range taps {
			n.tapNodes[i] = append(n.tapNodes[i], pair{fresh(), fresh()})
		}
	}
	n.unknowns = int(next)
	return nil
}

// laySections cuts the reels at their taps.
func (n *Network) laySections() {
	for i, taps := range n.taps {
		for k := 1; k < len(taps); k++ {
			n.sections = append(n.sections, section{
				reel: i, first: taps[k-1] - 1, last: taps[k] - 1,
				at: n.tapNodes[i][k-1], to: n.tapNodes[i][k], offset: n.offsets[i],
			})
		}
	}
}

// layResistors lists the conductors of feeds and joints.
func (n *Network) layResistors() {
	addPair := func(kind run.PlaceKind, index int, a, b pair) [2]int {
		at := len(n.resistors)
		n.resistors = append(n.resistors,
			resistor{kind, index, run.Plus, a.plus, b.plus},
			resistor{kind, index, run.Minus, a.minus, b.minus})
		return [2]int{at, at + 1}
	}
	for i, f := range n.run.Feeds {
		n.feedRail = append(n.feedRail, addPair(run.AtJunction, i, n.nodes(f.From), n.nodes(f.To)))
	}
	for i, j := range n.run.Joints {
		last := n.tapNodes[j.From]
		addPair(run.AtReel, i, last[len(last)-1], n.tapNodes[j.To][0])
	}
}

// nodes returns the nodes of a place that has them.
func (n *Network) nodes(p run.Place) pair {
	switch p.Kind {
	case run.AtSupply:
		return n.supplies[p.Index]
	case run.AtJunction:
		return n.junctions[p.Index]
	}
	k, ok := slices.BinarySearch(n.taps[p.Index], p.Pixel)
	if !ok {
		panic(fmt.Sprintf("ladder: pixel %d of reel %d has no node", p.Pixel, p.Index))
	}
	return n.tapNodes[p.Index][k]
}

// node returns the unknown of one point, or ground.
func (n *Network) node(p run.Point) int32 {
	both := n.nodes(p.Place)
	if p.Rail == run.Plus {
		return both.plus
	}
	return both.minus
}

// pattern returns the nonzero pattern of the nodal matrix.
func (n *Network) pattern() *ldl.Pattern {
	p := ldl.NewPattern(n.unknowns)
	couple := func(nodes ...int32) {
		for i, a := range nodes {
			for _, b := range nodes[i+1:] {
				if a != ground && b != ground {
					p.Couple(int(a), int(b))
				}
			}
		}
	}
	for i, s := range n.supplies {
		if n.current[i] != ground {
			couple(s.plus, n.current[i])
			couple(s.minus, n.current[i])
		}
	}
	for _, x := range n.resistors {
		couple(x.a, x.b)
	}
	for _, nodes := range n.tapNodes {
		for _, t := range nodes {
			couple(t.plus, t.minus)
		}
	}
	for _, s := range n.sections {
		couple(s.at.plus, s.at.minus, s.to.plus, s.to.minus)
	}
	return p
}

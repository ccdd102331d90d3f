package ladder

import (
	"math"

	"ohmkeep/internal/network/ldl"
	"ohmkeep/internal/run"
)

// condensed is the equivalent circuit of the inside of a section, seen from its ends. With
// v the pair voltage of one end and v′ that of the other, the pair current into the section is
// own·v − across·v′ − push, times the loop conductance of one segment.
type condensed struct {
	ownAt, ownTo, across float64
	pushAt, pushTo       float64
	constant             bool // no pixel's current inside depends on its voltage
}

// pairSlots are the matrix entries of a load or of one end of a section: plus–plus,
// plus–minus, minus–minus.
type pairSlots struct{ pp, pm, mm ldl.Slot }

// slots are the matrix entries that assembly adds to, looked up once. Entries of a
// reference node are noSlot.
type slots struct {
	source   [][3]ldl.Slot // by supply: plus–current, minus–current, current
	resistor [][3]ldl.Slot // a–a, a–b, b–b
	tap      [][]pairSlots // by reel and tap
	section  []sectionSlots
}

type sectionSlots struct {
	at, to pairSlots
	cross  [2][2]ldl.Slot // rail of the first end, rail of the other
}

const noSlot = ldl.Slot(math.MinInt32)

func (n *Network) findSlots(m *ldl.Matrix) slots {
	slot := func(a, b int32) ldl.Slot {
		if a == ground || b == ground {
			return noSlot
		}
		return m.Slot(int(a), int(b))
	}
	both := func(p pair) pairSlots {
		return pairSlots{slot(p.plus, p.plus), slot(p.plus, p.minus), slot(p.minus, p.minus)}
	}
	var s slots
	for i, p := range n.supplies {
		c := n.current[i]
		s.source = append(s.source, [3]ldl.Slot{slot(p.plus, c), slot(p.minus, c), slot(c, c)})
	}
	for _, x := range n.resistors {
		s.resistor = append(s.resistor, [3]ldl.Slot{slot(x.a, x.a), slot(x.a, x.b), slot(x.b, x.b)})
	}
	for _, nodes := range n.tapNodes {
		var taps []pairSlots
		for _, p := range nodes {
			taps = append(taps, both(p))
		}
		s.tap = append(s.tap, taps)
	}
	for _, c := range n.sections {
		s.section = append(s.section, sectionSlots{both(c.at), both(c.to), [2][2]ldl.Slot{
			{slot(c.at.plus, c.to.plus), slot(c.at.plus, c.to.minus)},
			{slot(c.at.minus, c.to.plus), slot(c.at.minus, c.to.minus)}}})
	}
	return s
}

// reelRails returns a reel's resistances per segment, floored.
func (s *Solver) reelRails(reel int) (plus, minus float64) {
	r := s.par.Reels[reel]
	return math.Max(r.Plus, floorOhms), math.Max(r.Minus, floorOhms)
}

func (s *Solver) conductance(x resistor) float64 { return 1 / s.ohms(x) }

// ohms returns the resistance of a feed's or joint's conductor, Ω; floorOhms where it is
// closer to zero than that.
func (s *Solver) ohms(x resistor) float64 {
	ohms := s.stated(x)
	if math.Abs(ohms) < floorOhms {
		return floorOhms
	}
	return ohms
}

// stated returns the resistance of a feed's or joint's conductor in the parameters, Ω.
func (s *Solver) stated(x resistor) float64 {
	rails := &s.par.Joints
	if x.kind == run.AtJunction {
		rails = &s.par.Feeds
	}
	if x.rail == run.Plus {
		return (*rails)[x.index].Plus
	}
	return (*rails)[x.index].Minus
}

// condense linearises every load at the present voltages and eliminates the inside of every
// section. It returns false where a pivot is not positive.
func (s *Solver) condense(m mode) (definite bool) {
	definite = true
	for r := range s.net.tapNodes {
		for _, pixel := range s.net.taps[r] {
			s.linearise(r, s.net.offsets[r]+pixel-1, m)
		}
	}
	for i := range s.net.sections {
		if !s.condenseSection(i, m) {
			definite = false
		}
	}
	return definite
}

// linearise sets the current, A, and the slope, S, of pixel k.
func (s *Solver) linearise(reel, k int, m mode) {
	v := s.volts[k]
	if m == tangent && v >= s.full[reel] {
		s.amps[k], s.slope[k] = s.total[reel], 0
		return
	}
	amps, slope := s.loads[reel].Current(v)
	switch {
	case m == chord && v > 0:
		slope = amps / v
	case m != tangent:
		slope = math.Max(slope, 0)
	}
	s.amps[k], s.slope[k] = amps, slope
}

// condenseSection eliminates the pixels strictly inside a section, first to last.
// With R the loop resistance of a segment, pixel k fulfils
//
//	−v(k−1) + (2 + R·g(k))·v(k) − v(k+1) = −R·(i(k) − g(k)·v₀(k)).
func (s *Solver) condenseSection(i int, m mode) (definite bool) {
	sec := &s.net.sections[i]
	plus, minus := s.reelRails(sec.reel)
	loop := plus + minus
	full, total := s.full[sec.reel], s.total[sec.reel]
	first, last := sec.offset+sec.first, sec.offset+sec.last
	inverse, carried, coupling := s.inverse, s.carried, s.coupling
	volts, amps, slope := s.volts, s.amps, s.slope
	own, push := 1.0, 0.0
	before, sum := 0.0, 0.0 // of the equation before: 1/pivot, right-hand side
	link := 1.0             // coupling to the first pixel
	definite = true
	constant := m == tangent
	for k := first + 1; k < last; k++ {
		v := volts[k]
		current, g := total, 0.0
		if v < full || m != tangent {
			s.linearise(sec.reel, k, m)
			current, g = amps[k], slope[k]
			constant = false
		} else {
			amps[k], slope[k] = current, g
		}
		pivot := 2 + loop*g - before
		if pivot <= 0 {
			definite = false
		}
		sum = sum*before - loop*(current-g*v)
		before = 1 / pivot
		inverse[k], carried[k], coupling[k] = before, sum, link
		own -= link * link * before
		push += link * sum * before
		link *= before
	}
	end := &s.ends[i]
	if last-first == 1 {
		*end = condensed{ownAt: 1, ownTo: 1, across: 1, constant: constant}
		return definite
	}
	*end = condensed{ownAt: own, ownTo: 1 - before, across: link, pushAt: push, pushTo: sum * before, constant: constant}
	return definite
}

// assemble builds the nodal equations of the terminals, A·goal = right-hand side.
func (s *Solver) assemble() {
	a, b := s.matrix, s.goal
	a.Clear()
	clear(b)
	for i, c := range s.net.current {
		if c == ground {
			continue
		}
		s.add(s.slots.source[i][0], -1)
		s.add(s.slots.source[i][1], 1)
		s.add(s.slots.source[i][2], -s.par.Supplies[i].Ohms)
		b[c] = -s.par.Supplies[i].Volts
	}
	for i, x := range s.net.resistors {
		g := s.conductance(x)
		s.add(s.slots.resistor[i][0], g)
		s.add(s.slots.resistor[i][1], -g)
		s.add(s.slots.resistor[i][2], g)
	}
	for r, nodes := range s.net.tapNodes {
		for j, p := range nodes {
			k := s.net.offsets[r] + s.net.taps[r][j] - 1
			s.addPair(s.slots.tap[r][j], s.slope[k])
			s.push(b, p, s.amps[k]-s.slope[k]*s.volts[k])
		}
	}
	for _, d := range s.par.Drains {
		s.push(b, pair{s.net.node(d.From), s.net.node(d.To)}, d.Amps)
	}
	for i := range s.net.sections {
		s.assembleSection(i)
	}
}

// assembleSection adds a section: the pair currents of its condensed inside, and
// the common-mode current of both rails, which the straight line p/r₊ + n/r₋ gives.
func (s *Solver) assembleSection(i int) {
	sec, slot, end := &s.net.sections[i], &s.slots.section[i], &s.ends[i]
	plus, minus := s.reelRails(sec.reel)
	loop := plus + minus
	s.addPair(slot.at, end.ownAt/loop)
	s.addPair(slot.to, end.ownTo/loop)
	pp, pm := -end.across/loop, end.across/loop
	mm := pp
	s.push(s.goal, sec.at, -end.pushAt/loop)
	s.push(s.goal, sec.to, -end.pushTo/loop)

	common := 1 / (float64(sec.last-sec.first) * loop)
	forPlus, forMinus := common*minus/plus, common*plus/minus
	for _, p := range [2]pairSlots{slot.at, slot.to} {
		s.add(p.pp, forPlus)
		s.add(p.pm, common)
		s.add(p.mm, forMinus)
	}
	s.add(slot.cross[0][0], pp-forPlus)
	s.add(slot.cross[0][1], pm-common)
	s.add(slot.cross[1][0], pm-common)
	s.add(slot.cross[1][1], mm-forMinus)
}

func (s *Solver) add(at ldl.Slot, x float64) {
	if at != noSlot {
		s.matrix.Add(at, x)
	}
}

// addPair adds a conductance between the two nodes of a place.
func (s *Solver) addPair(p pairSlots, g float64) {
	s.add(p.pp, g)
	s.add(p.pm, -g)
	s.add(p.mm, g)
}

// push adds a constant current that flows from the plus node to the minus node, A.
func (s *Solver) push(b []float64, p pair, amps float64) {
	if p.plus != ground {
		b[p.plus] -= amps
	}
	if p.minus != ground {
		b[p.minus] += amps
	}
}

// spread computes the change of every pixel's pair voltage from those of the nodes.
func (s *Solver) spread() {
	for r, nodes := range s.net.tapNodes {
		for j, p := range nodes {
			k := s.net.offsets[r] + s.net.taps[r][j] - 1
			s.change[k] = at(s.goal, p.plus) - at(s.goal, p.minus) - s.volts[k]
		}
	}
	for i := range s.net.sections {
		sec := &s.net.sections[i]
		first, last := sec.offset+sec.first, sec.offset+sec.last
		v1 := at(s.goal, sec.at.plus) - at(s.goal, sec.at.minus)
		v := at(s.goal, sec.to.plus) - at(s.goal, sec.to.minus)
		inverse, carried, coupling := s.inverse[:last], s.carried[:last], s.coupling[:last]
		volts, change := s.volts[:last], s.change[:last]
		for k := last - 1; k > first; k-- {
			v = (carried[k] + v + coupling[k]*v1) * inverse[k]
			change[k] = v - volts[k]
		}
	}
}

// along calls visit for each pixel of a section, with its plus and minus potentials, V. They
// follow from the pair voltages and the straight line p/r₊ + n/r₋ between the ends.
func (s *Solver) along(i int, x []float64, visit func(k int, plus, minus float64)) {
	sec := &s.net.sections[i]
	plus, minus := s.reelRails(sec.reel)
	loop := plus + minus
	begin := at(x, sec.at.plus)/plus + at(x, sec.at.minus)/minus
	slope := (at(x, sec.to.plus)/plus + at(x, sec.to.minus)/minus - begin) / float64(sec.last-sec.first)
	for k := sec.first; k <= sec.last; k++ {
		line := (begin + slope*float64(k-sec.first)) * plus * minus / loop
		v := s.volts[sec.offset+k]
		visit(k, line+v*plus/loop, line-v*minus/loop)
	}
}

// sectionAmps returns the current of one rail in the first and the last segment of a
// section, A, positive towards the reel's end.
func (s *Solver) sectionAmps(i int, rail run.Rail) (first, last float64) {
	sec := &s.net.sections[i]
	plus, minus := s.reelRails(sec.reel)
	ohms := plus
	if rail == run.Minus {
		ohms = minus
	}
	before := 0.0
	s.along(i, s.x, func(k int, p, n float64) {
		v := p
		if rail == run.Minus {
			v = n
		}
		switch k {
		case sec.first:
		case sec.first + 1:
			first = (before - v) / ohms
			last = first
		default:
			last = (before - v) / ohms
		}
		before = v
	})
	return first, last
}

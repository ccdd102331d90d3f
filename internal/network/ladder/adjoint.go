package ladder

import (
	"math"

	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// Gradient holds the derivatives of one output, V or A, with respect to every parameter of
// a network and to the pixel.Adjust of its reels. Each slice is in the order of the run's.
type Gradient struct {
	Supplies []Source  // per V, per Ω
	Reels    []Rails   // per Ω of a segment
	Joints   []Rails   // per Ω
	Feeds    []Rails   // per Ω
	Scale    []float64 // by reel: per unit of pixel.Adjust.Scale
	Idle     []float64 // by reel: per unit of pixel.Adjust.Idle
	Shift    []float64 // by reel: per V of pixel.Adjust.Shift
	Stretch  []float64 // by reel: per unit of pixel.Adjust.Stretch
	Drains   []float64 // per A
}

// NewGradient returns a Gradient of the network's size, all zero.
func (n *Network) NewGradient() *Gradient {
	r := n.run
	return &Gradient{
		Supplies: make([]Source, len(r.Supplies)), Reels: make([]Rails, len(r.Reels)),
		Joints: make([]Rails, len(r.Joints)), Feeds: make([]Rails, len(r.Feeds)),
		Scale: make([]float64, len(r.Reels)), Idle: make([]float64, len(r.Reels)), Shift: make([]float64, len(r.Reels)),
		Stretch: make([]float64, len(r.Reels)),
	}
}

func (s *Solver) inject(node int32, x float64) {
	if node != ground {
		s.adjoint[node] += x
	}
}

// negligibleAdjoint is the part of the largest adjoint below which pixels and conductors are left out
// of the derivatives: the output does not depend on what is that far away.
const negligibleAdjoint = 1e-10

// gradient solves the adjoint of the nodal equations, A·λ = c for the output cᵀx
// (A is symmetric), and collects −λᵀ·∂F/∂θ for each parameter θ, F being the sums
// of currents that leave the nodes.
func (s *Solver) gradient(g *Gradient) error {
	if err := s.factorise(); err != nil {
		return err
	}
	s.matrix.Solve(s.adjoint)
	largest := 0.0
	for _, lambda := range s.adjoint {
		if size := math.Abs(lambda); size > largest {
			largest = size
		}
	}
	s.minAdjoint = negligibleAdjoint * largest
	s.supplyGradient(g)
	s.resistorGradient(g)
	g.Drains = g.Drains[:0]
	for _, d := range s.par.Drains {
		g.Drains = append(g.Drains, at(s.adjoint, s.net.node(d.To))-at(s.adjoint, s.net.node(d.From)))
	}
	clear(g.Reels)
	clear(g.Scale)
	clear(g.Idle)
	clear(g.Shift)
	clear(g.Stretch)
	for r, nodes := range s.net.tapNodes {
		for j, p := range nodes {
			k := s.net.offsets[r] + s.net.taps[r][j] - 1
			if lambda := at(s.adjoint, p.plus) - at(s.adjoint, p.minus); math.Abs(lambda) > s.minAdjoint {
				s.loadGradient(g, r, k, lambda)
			}
		}
	}
	for i := range s.net.sections {
		s.sectionGradient(g, i)
	}
	return nil
}

// factorise computes the factors of the nodal equations at the state, and what all outputs have in common besides.
func (s *Solver) factorise() error {
	if !s.factored {
		s.condense(tangent)
		s.assemble()
		if _, ok := s.matrix.Factorise(); !ok {
			return ErrSingular
		}
		s.factored = true
	}
	if !s.commonKnown {
		s.differentiateLoads()
		for i := range s.net.sections {
			s.inside[i] = [2]insideSums{s.sumInside(i, 1, 0), s.sumInside(i, 0, 1)}
		}
		s.commonKnown = true
	}
	return nil
}

func (s *Solver) supplyGradient(g *Gradient) {
	for i, c := range s.net.current {
		g.Supplies[i] = Source{}
		if c != ground {
			// The source's equation is −p + n − r·I + V = 0.
			g.Supplies[i] = Source{Volts: -s.adjoint[c], Ohms: s.adjoint[c] * s.x[c]}
		}
	}
}

func (s *Solver) resistorGradient(g *Gradient) {
	clear(g.Joints)
	clear(g.Feeds)
	for i := range s.net.resistors {
		x := &s.net.resistors[i]
		d := at(s.adjoint, x.a) - at(s.adjoint, x.b)
		if math.Abs(d) <= s.minAdjoint {
			continue
		}
		if ohms := s.ohms(*x); !math.IsInf(ohms, 1) {
			to := g.Joints
			if x.kind == run.AtJunction {
				to = g.Feeds
			}
			d *= (at(s.x, x.a) - at(s.x, x.b)) / (ohms * ohms)
			if x.rail == run.Plus {
				to[x.index].Plus = d
			} else {
				to[x.index].Minus = d
			}
		}
	}
}

// partials are the derivatives of a pixel's current, see pixel.Load.Partials.
type partials struct{ scale, idle, shift, stretch float64 }

func partialsOf(load *pixel.Load, v float64) (d partials) {
	d.scale, d.idle, d.shift, d.stretch = load.Partials(v)
	return d
}

// differentiateLoads computes the derivatives of all pixels' currents at the last solution, which all
// outputs have in common.
func (s *Solver) differentiateLoads() {
	for reel, load := range s.loads {
		first := s.net.offsets[reel]
		for k := first; k < first+s.net.run.Reels[reel].Pixels; k++ {
			if v := s.volts[k]; v < s.full[reel] {
				s.own[k] = partialsOf(&load, v)
			}
		}
	}
}

// insideSums are sums over the inside of a section, for an adjoint whose pair part is 1 at one end of the section and
// 0 at the other: of the products of its differences and those of the pair voltage, and of its products with the
// derivatives of the pixels' currents. Those of any adjoint follow from them, since they are linear in both ends.
type insideSums struct {
	product float64
	partials
}

// sumInside returns these sums of section i, for an adjoint with pair parts first and last at its ends.
func (s *Solver) sumInside(i int, first, last float64) (sums insideSums) {
	sec := &s.net.sections[i]
	from, to := sec.offset+sec.first, sec.offset+sec.last
	above := 0.0 // sum of the adjoint where the load does not depend on the voltage
	if n := float64(sec.last - sec.first); s.ends[i].constant {
		// Nothing inside depends on the voltage, so that the adjoint is a straight line.
		sums.product = (last - first) * (s.volts[to] - s.volts[from]) / n
		above = (first + last) / 2 * (n - 1)
	} else {
		full, a, v := s.full[sec.reel], last, s.volts[to]
		for k := to - 1; k > from; k-- {
			a2, v2 := (a+s.coupling[k]*first)*s.inverse[k], s.volts[k]
			sums.product += (a - a2) * (v - v2)
			a, v = a2, v2
			if v >= full {
				above += a
				continue
			}
			sums.add(a, &s.own[k])
		}
		sums.product += (a - first) * (v - s.volts[from])
	}
	if above != 0 {
		sums.add(above, &s.above[sec.reel])
	}
	return sums
}

// add adds a multiple of the derivatives of a pixel's current.
func (d *partials) add(by float64, x *partials) {
	d.scale += by * x.scale
	d.idle += by * x.idle
	d.shift += by * x.shift
	d.stretch += by * x.stretch
}

func (s *Solver) loadGradient(g *Gradient, reel, k int, lambda float64) {
	d := s.above[reel]
	if s.volts[k] < s.full[reel] {
		d = s.own[k]
	}
	g.Scale[reel] -= lambda * d.scale
	g.Idle[reel] -= lambda * d.idle
	g.Shift[reel] -= lambda * d.shift
	g.Stretch[reel] -= lambda * d.stretch
}

// sectionGradient adds the contribution of the inside of a section. The adjoint obeys
// the same difference equation as the pair voltage, so it divides likewise into a pair
// part and a straight line. Per segment, with Δv and Δλ the differences of the pair parts,
// Δs and Δμ those of the lines and R = r₊ + r₋,
//
//	Δp = Δs·r₊r₋/R + Δv·r₊/R,   Δn = Δs·r₊r₋/R − Δv·r₋/R,
//
// and likewise for the adjoint; the derivative to r₊ is Σ Δp·Δλp/r₊².
func (s *Solver) sectionGradient(g *Gradient, i int) {
	sec := &s.net.sections[i]
	first, last := sec.offset+sec.first, sec.offset+sec.last
	a1 := at(s.adjoint, sec.at.plus) - at(s.adjoint, sec.at.minus)
	a := at(s.adjoint, sec.to.plus) - at(s.adjoint, sec.to.minus)
	alongPlus, alongMinus := at(s.adjoint, sec.at.plus)-at(s.adjoint, sec.to.plus), at(s.adjoint, sec.at.minus)-at(s.adjoint, sec.to.minus)
	if max(math.Abs(a1), math.Abs(a), math.Abs(alongPlus), math.Abs(alongMinus)) <= s.minAdjoint {
		return
	}
	product := 0.0
	if max(math.Abs(a1), math.Abs(a)) > s.minAdjoint {
		of := &s.inside[i]
		product = a1*of[0].product + a*of[1].product
		g.Scale[sec.reel] -= a1*of[0].scale + a*of[1].scale
		g.Idle[sec.reel] -= a1*of[0].idle + a*of[1].idle
		g.Shift[sec.reel] -= a1*of[0].shift + a*of[1].shift
		g.Stretch[sec.reel] -= a1*of[0].stretch + a*of[1].stretch
	}
	n := float64(sec.last - sec.first)
	plus, minus := s.reelRails(sec.reel)
	loop := plus + minus
	line := func(x []float64) float64 {
		return ((at(x, sec.at.plus)-at(x, sec.to.plus))/plus + (at(x, sec.at.minus)-at(x, sec.to.minus))/minus) / n
	}
	ds, dm := line(s.x), line(s.adjoint)
	both := n * ds * dm / (loop * loop)
	mixed := (ds*(a1-a) + dm*(s.volts[first]-s.volts[last])) / (loop * loop)
	pairs := product / (loop * loop)
	g.Reels[sec.reel].Plus += both*minus*minus + mixed*minus + pairs
	g.Reels[sec.reel].Minus += both*plus*plus - mixed*plus + pairs
}

package ladder

import (
	"errors"
	"fmt"
	"math"

	"ohmkeep/internal/network/ldl"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

var cutOhms = math.Inf(1)

// ErrDiverged reports that no balance of currents was found.
var ErrDiverged = errors.New("the node voltages did not settle")

// ErrSingular reports that some potential is not determined: a conductor is open
// and nothing else ties the part behind it to a supply.
var ErrSingular = errors.New("a part of the run is connected to no supply")

const (
	// settled is the greatest current by which a pixel may miss its law, A.
	settled = 1e-10
	// mostSteps bounds Newton's method. Long starved runs take some twenty.
	mostSteps = 400
)

// Solver holds the working memory of a network. It is for one goroutine; after
// the first Solve nothing is allocated.
type Solver struct {
	net    *Network
	matrix *ldl.Matrix
	slots  slots

	par   *Parameters
	loads []pixel.Load
	full  []float64 // by reel: Load.Full and Total, close at hand
	total []float64
	above []partials // by reel: at and above Load.Full

	x, goal []float64 // by unknown: the state, and Newton's next one
	// By pixel, reels one behind the other.
	volts    []float64 // pair voltage
	step     []float64 // Newton's change of it
	amps     []float64 // linearised load: amps at volts, and its slope
	slope    []float64
	miss     []float64 // current by which the state misses the law
	inverse  []float64 // eliminated tridiagonal rows: 1/pivot,
	carried  []float64 // right-hand side,
	coupling []float64 // and coupling to the section's first pixel

	ends     []condensed // by section
	warm     bool
	factored bool // the factors are those of the state
	negative int  // pivots below zero of a stable balance
	steps    int

	adjoint []float64 // by unknown
	faint   float64   // adjoint that counts for nothing
}

// NewSolver prepares the working memory.
func (n *Network) NewSolver() *Solver {
	s := &Solver{net: n, matrix: n.pattern().Analyse(n.head)}
	s.slots = n.findSlots(s.matrix)
	reels := len(n.run.Reels)
	s.loads = make([]pixel.Load, reels)
	s.full, s.total, s.above = make([]float64, reels), make([]float64, reels), make([]partials, reels)
	for _, v := range []*[]float64{&s.volts, &s.step, &s.amps, &s.slope, &s.miss, &s.inverse, &s.carried, &s.coupling} {
		*v = make([]float64, n.pixels)
	}
	for _, v := range []*[]float64{&s.x, &s.goal, &s.adjoint} {
		*v = make([]float64, n.unknowns)
	}
	s.ends = make([]condensed, len(n.sections))
	return s
}

// Restart discards the last state, so that the next Solve starts from the beginning.
func (s *Solver) Restart() { s.warm = false }

// Steps is the number of Newton steps that the last Solve took.
func (s *Solver) Steps() int { return s.steps }

// Solve finds the potentials for parameters and loads, one load a reel. It begins
// at the last state unless that solve failed or Restart was called. The parameters must stay unchanged
// as long as results are read. With regulated drivers more than one balance may
// exist; from scratch it finds the one with the higher voltages, if any holds.
// It returns ErrSingular or ErrDiverged, wrapped.
func (s *Solver) Solve(par *Parameters, loads []pixel.Load) error {
	s.par, s.factored, s.steps = par, false, 0
	s.negative = len(s.net.head) / 2
	for _, x := range s.net.resistors {
		if s.ohms(x) < 0 {
			s.negative++
		}
	}
	copy(s.loads, loads)
	for i := range s.loads {
		s.full[i], s.total[i] = s.loads[i].Full(), s.loads[i].Total()
		if !math.IsInf(s.full[i], 1) {
			s.above[i] = partialsOf(&s.loads[i], 2*s.full[i]) // the same wherever it is above
		}
	}
	if !s.warm {
		s.begin()
	}
	s.warm = false // until this solve has succeeded: a failed one leaves no state to begin at
	// The first steps replace each pixel by a resistor where its voltage is below
	// its knee: crude, but it keeps all voltages between zero and the supply's.
	secant := 0
	balanced := false // the state fulfils all but the pixels' laws
	for s.steps < mostSteps {
		s.steps++
		mode := tangent
		if secant > 0 {
			mode, secant = chord, secant-1
		}
		if err := s.advance(mode); err != nil {
			return err
		}
		if mode == tangent && !balanced && s.lowest() < 0 {
			// Constant currents beyond what the copper can carry: start over gently.
			secant = 4
			s.begin()
			continue
		}
		worst := s.take(balanced && mode == tangent)
		if worst <= settled {
			s.warm = true
			return nil
		}
		balanced = true
	}
	return fmt.Errorf("after %d steps: %w", s.steps, ErrDiverged)
}

// begin sets every pair to the highest voltage a supply gives.
func (s *Solver) begin() {
	top := 0.0
	for _, x := range s.par.Supplies {
		top = math.Max(top, x.Volts)
	}
	for i := range s.volts {
		s.volts[i] = top
	}
	clear(s.x)
	clear(s.miss)
}

// mode is how the loads are linearised.
type mode int

const (
	tangent mode = iota // Newton
	chord               // the resistor that takes the same current; its slope is never negative
	convex              // the tangent, but never falling
)

// advance computes Newton's next state in goal and step.
func (s *Solver) advance(m mode) error {
	for {
		definite := s.condense(m)
		s.assemble()
		negative, ok := s.matrix.Factorise()
		if !ok {
			return ErrSingular
		}
		// Quasi-definite: one negative pivot a supply, and one for each conductor below
		// zero, which is smaller than what it is in series with. More of them mean
		// that falling load lines make the balance unstable in some direction.
		if (!definite || negative != s.negative) && m == tangent {
			m = convex
			continue
		}
		s.matrix.Solve(s.goal)
		s.spread()
		return nil
	}
}

// lowest is the lowest pair voltage of the next state.
func (s *Solver) lowest() float64 {
	low := math.Inf(1)
	for i, v := range s.volts {
		low = min(low, v+s.step[i])
	}
	return low
}

// take moves the state towards the next one, as far as it helps where guarded,
// and returns the greatest current by which a pixel then misses its law. The
// pixels' currents and the copper's are the gradient of one potential (the
// co-content; Millar, Phil. Mag. 42 (1951) 1150), so it is enough that its slope
// along the step does not turn up steeply.
func (s *Solver) take(guarded bool) float64 {
	t := 1.0
	if guarded {
		t = s.reach()
	}
	for i := range s.x {
		s.x[i] += t * (s.goal[i] - s.x[i])
	}
	worst := 0.0
	net := s.net
	for r := range net.run.Reels {
		load := &s.loads[r]
		full, total := s.full[r], s.total[r]
		from, to := net.offsets[r], net.offsets[r]+net.run.Reels[r].Pixels
		volts, step := s.volts[from:to], s.step[from:to]
		amps, slope, miss := s.amps[from:to], s.slope[from:to], s.miss[from:to]
		for k, d := range step {
			v := volts[k] + t*d
			volts[k] = v
			now := total
			if v < full {
				now, _ = load.Current(v)
			}
			// Along the step the wanting current shrinks linearly while the law bends
			// away from its tangent.
			m := (1-t)*miss[k] + now - (amps[k] + t*slope[k]*d)
			miss[k] = m
			worst = max(worst, math.Abs(m))
		}
	}
	return worst
}

// reach returns the part of the step to take, in (0, 1].
func (s *Solver) reach() float64 {
	start := s.tilt(0)
	end := s.tilt(1)
	if end <= 0.5*math.Abs(start) || start >= 0 {
		return 1
	}
	// The slope of the co-content along the step: negative at low, positive at high.
	low, high, atLow, atHigh := 0.0, 1.0, start, end
	for range 12 {
		t := low - atLow*(high-low)/(atHigh-atLow)
		t = math.Min(math.Max(t, low+0.05*(high-low)), high-0.05*(high-low))
		now := s.tilt(t)
		if math.Abs(now) <= 0.3*math.Abs(start) {
			return t
		}
		if now < 0 {
			low, atLow, atHigh = t, now, atHigh/2
		} else {
			high, atHigh, atLow = t, now, atLow/2
		}
	}
	return (low + high) / 2
}

// tilt is the slope of the co-content along the step at part t of it.
func (s *Solver) tilt(t float64) float64 {
	sum := 0.0
	for r := range s.net.run.Reels {
		load := &s.loads[r]
		from, to := s.net.offsets[r], s.net.offsets[r]+s.net.run.Reels[r].Pixels
		for k := from; k < to; k++ {
			d := s.step[k]
			now, _ := load.Current(s.volts[k] + t*d)
			sum += d * ((1-t)*s.miss[k] + now - (s.amps[k] + t*s.slope[k]*d))
		}
	}
	return sum
}

// Potential returns the potential of a point in volts. The point must be a supply,
// a junction, a reel's or feed's end or one of New's extra places.
func (s *Solver) Potential(p run.Point) float64 { return at(s.x, s.net.node(p)) }

// FeedAmps returns the current of a feed's conductor, positive towards the strip in
// the plus and from it in the minus conductor.
func (s *Solver) FeedAmps(feed int, rail run.Rail) float64 {
	return s.railAmps(s.net.feedRail[feed][rail])
}

// JointAmps is FeedAmps for a joint; positive towards the later reel.
func (s *Solver) JointAmps(joint int, rail run.Rail) float64 {
	return s.railAmps(2*len(s.net.run.Feeds) + 2*joint + int(rail))
}

func (s *Solver) railAmps(i int) float64 {
	x := s.net.resistors[i]
	amps := (at(s.x, x.a) - at(s.x, x.b)) * s.conductance(x)
	if x.rail == run.Minus {
		return -amps
	}
	return amps
}

// SupplyAmps is the current a supply delivers.
func (s *Solver) SupplyAmps(i int) float64 { return at(s.x, s.net.current[i]) }

// Reel writes the potentials along a reel, in volts, one entry a pixel, and the
// current each pixel draws. A nil slice is passed over.
func (s *Solver) Reel(reel int, plus, minus, amps []float64) {
	for i, sec := range s.net.sections {
		if sec.reel == reel {
			s.along(i, s.x, func(k int, p, n float64) {
				if plus != nil {
					plus[k] = p
				}
				if minus != nil {
					minus[k] = n
				}
			})
		}
	}
	if nodes := s.net.tapNodes[reel]; len(nodes) == 1 {
		if plus != nil {
			plus[0] = at(s.x, nodes[0].plus)
		}
		if minus != nil {
			minus[0] = at(s.x, nodes[0].minus)
		}
	}
	for k := range amps {
		amps[k], _ = s.loads[reel].Current(s.volts[s.net.offsets[reel]+k])
	}
}

func at(x []float64, node int32) float64 {
	if node == ground {
		return 0
	}
	return x[node]
}

// ReelAmps is the greater of the currents of one rail at a reel's two ends, as
// they flow in the first and last segment; 0 for a reel of one pixel.
func (s *Solver) ReelAmps(reel int, rail run.Rail) float64 {
	most := 0.0
	for i := range s.net.sections {
		if s.net.sections[i].reel == reel {
			a, b := s.sectionAmps(i, rail)
			most = math.Max(most, math.Max(math.Abs(a), math.Abs(b)))
		}
	}
	return most
}

// Taps are the pixels of a reel that have nodes, ascending.
func (n *Network) Taps(reel int) []int { return n.taps[reel] }

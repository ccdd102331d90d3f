package ladder

import (
	"errors"
	"fmt"
	"math"

	"ohmkeep/internal/network/ldl"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// cutOhms is the resistance of a conductor that is cut by design, Ω.
var cutOhms = math.Inf(1)

// ErrDiverged reports that Newton's method found no voltages at which the currents balance.
var ErrDiverged = errors.New("the node voltages did not settle")

// ErrSingular reports that some potential is not determined: a conductor is open
// and nothing else ties the part behind it to a supply.
var ErrSingular = errors.New("a part of the run is connected to no supply")

const (
	// maxMismatch is the largest difference between a pixel's current and that of its load law, A.
	maxMismatch = 1e-10
	// maxIterations bounds Newton's method. Long runs with starved pixels take about twenty.
	maxIterations = 400
)

// Solver holds the working memory of a network. It is for one goroutine; after
// the first Solve nothing is allocated.
type Solver struct {
	net    *Network
	matrix *ldl.Matrix
	slots  slots

	par   *Parameters
	loads []pixel.Load
	full  []float64  // by reel: Load.Full, V
	total []float64  // by reel: Load.Total, A
	above []partials // by reel: derivatives of a pixel's current at and above Load.Full

	x, goal []float64 // by unknown: the state, and the result of Newton's next update
	// By pixel, in the order of the reels.
	volts    []float64 // pair voltage, V
	change   []float64 // Newton's change of it, V
	amps     []float64 // linearised load: current at volts, A
	slope    []float64 // and its slope, S
	mismatch []float64 // current of the state minus that of the load law, A
	next     []float64 // the same after the part of the update last tried, A
	inverse  []float64 // eliminated tridiagonal equations: 1/pivot,
	carried  []float64 // right-hand side,
	coupling []float64 // and coupling to the section's first pixel

	ends       []condensed // by section
	warm       bool        // the state is a solution to begin from
	factored   bool        // the factors are those of the state
	negative   int         // number of negative pivots at a stable solution
	iterations int

	own         []partials      // by pixel below Load.Full: derivatives of its current
	inside      [][2]insideSums // by section and end
	commonKnown bool            // own and inside are those of the state
	adjoint     []float64       // by unknown
	minAdjoint  float64         // see negligibleAdjoint
	response    []float64       // by unknown, see Respond
}

// NewSolver allocates the working memory.
func (n *Network) NewSolver() *Solver {
	s := &Solver{net: n, matrix: n.pattern().Analyse(n.head)}
	s.slots = n.findSlots(s.matrix)
	reels := len(n.run.Reels)
	s.loads = make([]pixel.Load, reels)
	s.full, s.total, s.above = make([]float64, reels), make([]float64, reels), make([]partials, reels)
	for _, v := range []*[]float64{&s.volts, &s.change, &s.amps, &s.slope, &s.mismatch, &s.next, &s.inverse, &s.carried, &s.coupling} {
		*v = make([]float64, n.pixels)
	}
	s.own = make([]partials, n.pixels)
	for _, v := range []*[]float64{&s.x, &s.goal, &s.adjoint, &s.response} {
		*v = make([]float64, n.unknowns)
	}
	s.ends, s.inside = make([]condensed, len(n.sections)), make([][2]insideSums, len(n.sections))
	return s
}

// Restart discards the last state, so that the next Solve starts from the beginning.
func (s *Solver) Restart() { s.warm = false }

// Iterations returns the number of Newton iterations of the last Solve.
func (s *Solver) Iterations() int { return s.iterations }

// Solve finds the potentials for parameters and loads, one load a reel. It begins
// at the last state unless that solve failed or Restart was called. The parameters must
// not change while results are read. With regulated drivers there may be more than one
// solution; a solve from the beginning finds the stable one with the higher voltages, if
// there is one. It returns ErrSingular or ErrDiverged, wrapped.
func (s *Solver) Solve(par *Parameters, loads []pixel.Load) error {
	s.par, s.factored, s.commonKnown, s.iterations = par, false, false, 0
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
	// chords is the number of iterations left in which each pixel below its knee is a resistor,
	// which keeps all voltages between zero and the supply's.
	chords := 0
	balanced := false // the state satisfies all equations except the load laws
	for s.iterations < maxIterations {
		s.iterations++
		mode := tangent
		if chords > 0 {
			mode, chords = chord, chords-1
		}
		if err := s.advance(mode); err != nil {
			return err
		}
		if mode == tangent && !balanced && s.lowest() < 0 {
			// Constant currents of this size have no solution: begin again with resistors.
			chords = 4
			s.begin()
			continue
		}
		worst := s.applyUpdate(balanced && mode == tangent)
		if worst <= maxMismatch {
			s.warm = true
			return nil
		}
		balanced = true
	}
	return fmt.Errorf("after %d iterations: %w", s.iterations, ErrDiverged)
}

// begin sets every pair voltage to the highest open-circuit voltage of a supply.
func (s *Solver) begin() {
	top := 0.0
	for _, x := range s.par.Supplies {
		top = math.Max(top, x.Volts)
	}
	for i := range s.volts {
		s.volts[i] = top
	}
	clear(s.x)
	clear(s.mismatch)
}

// mode is how the loads are linearised.
type mode int

const (
	tangent mode = iota // Newton
	chord               // the resistor that takes the same current; its slope is never negative
	convex              // the tangent, with a negative slope replaced by 0
)

// advance computes Newton's next state in goal and change.
func (s *Solver) advance(m mode) error {
	for {
		definite := s.condense(m)
		s.assemble()
		negative, ok := s.matrix.Factorise()
		if !ok {
			return ErrSingular
		}
		// A quasi-definite matrix has one negative pivot for each supply, and one for each
		// conductor with negative resistance, which is smaller than what it is in series with.
		// More of them mean that falling load lines make the solution unstable.
		if (!definite || negative != s.negative) && m == tangent {
			m = convex
			continue
		}
		s.matrix.Solve(s.goal)
		s.spread()
		return nil
	}
}

// lowest returns the lowest pair voltage of the next state, V.
func (s *Solver) lowest() float64 {
	low := math.Inf(1)
	for i, v := range s.volts {
		if next := v + s.change[i]; next < low {
			low = next
		}
	}
	return low
}

// applyUpdate moves the state towards the next one: the whole way, or if guarded the part that
// lineSearch returns. It returns the largest mismatch of a pixel, A. The currents of pixels and
// copper are the gradient of the co-content (Millar, Phil. Mag. 42 (1951) 1150). An update is
// long enough where the slope of the co-content along it is small.
func (s *Solver) applyUpdate(guarded bool) (worst float64) {
	t := 1.0
	if guarded {
		t, worst = s.lineSearch()
	} else {
		_, worst = s.mismatchAt(t)
	}
	for i := range s.x {
		s.x[i] += t * (s.goal[i] - s.x[i])
	}
	for k, d := range s.change {
		s.volts[k] += t * d
	}
	s.mismatch, s.next = s.next, s.mismatch
	return worst
}

// lineSearch returns the part of the update to make, in (0, 1], and the largest mismatch there, A.
// The last call of mismatchAt is for that part.
func (s *Solver) lineSearch() (t, worst float64) {
	start := 0.0 // the load laws are linearised here, so the mismatch is as it is
	for k, d := range s.change {
		start += d * s.mismatch[k]
	}
	end, worst := s.mismatchAt(1)
	if end <= 0.5*math.Abs(start) || start >= 0 {
		return 1, worst
	}
	// The slope of the co-content along the update is negative at low and positive at high.
	low, high, atLow, atHigh := 0.0, 1.0, start, end
	for range 12 {
		t = low - atLow*(high-low)/(atHigh-atLow)
		t = math.Min(math.Max(t, low+0.05*(high-low)), high-0.05*(high-low))
		now, worst := s.mismatchAt(t)
		if math.Abs(now) <= 0.3*math.Abs(start) {
			return t, worst
		}
		if now < 0 {
			low, atLow, atHigh = t, now, atHigh/2
		} else {
			high, atHigh, atLow = t, now, atLow/2
		}
	}
	t = (low + high) / 2
	_, worst = s.mismatchAt(t)
	return t, worst
}

// mismatchAt writes each pixel's mismatch after part t of the update to next. Along the update the
// old mismatch falls linearly to zero; the new one is the difference between the load law and its
// tangent. It returns the slope of the co-content along the update there, W, and the largest
// mismatch, A.
func (s *Solver) mismatchAt(t float64) (slope, worst float64) {
	for r := range s.net.run.Reels {
		load := &s.loads[r]
		full, total := s.full[r], s.total[r]
		from, to := s.net.offsets[r], s.net.offsets[r]+s.net.run.Reels[r].Pixels
		volts, change, next := s.volts[from:to], s.change[from:to], s.next[from:to]
		amps, slopes, mismatch := s.amps[from:to], s.slope[from:to], s.mismatch[from:to]
		for k, d := range change {
			now := total
			if v := volts[k] + t*d; v < full {
				now, _ = load.Current(v)
			}
			m := (1-t)*mismatch[k] + now - (amps[k] + t*slopes[k]*d)
			next[k] = m
			slope += d * m
			worst = max(worst, math.Abs(m))
		}
	}
	return slope, worst
}

// Potential returns the potential of a point in volts. The point must be a supply,
// a junction, a reel's or feed's end or one of New's extra places.
func (s *Solver) Potential(p run.Point) float64 { return at(s.x, s.net.node(p)) }

// FeedAmps returns the current of a feed's conductor, A: positive towards the strip in the
// plus conductor, and away from it in the minus conductor.
func (s *Solver) FeedAmps(feed int, rail run.Rail) float64 {
	return s.railAmps(s.net.feedRail[feed][rail])
}

// JointAmps returns the current of a joint's conductor, A: positive towards the later reel in
// the plus conductor, and away from it in the minus conductor.
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

// SupplyAmps returns the current that a supply delivers, A.
func (s *Solver) SupplyAmps(i int) float64 { return at(s.x, s.net.current[i]) }

// Reel writes the potentials along a reel, V, and the current of each pixel, A, one entry a
// pixel. A nil slice is skipped.
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

// at returns the potential of a node, 0 for ground.
func at(x []float64, node int32) float64 {
	if node == ground {
		return 0
	}
	return x[node]
}

// ReelAmps returns the largest current of one rail, without sign, A, in the first and last
// segments of a reel's sections; 0 for a reel of one pixel.
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

// Taps returns the numbers of the pixels of a reel that have nodes, ascending.
func (n *Network) Taps(reel int) []int { return n.taps[reel] }

// Package estimate finds the resistances of a run that explain its readings, and
// how well they are known.
//
// All of it is one least-squares problem with Gaussian knowledge beforehand. The
// unknowns are both rails of every joint, feed and reel; the supplies' volts; what
// nobody knows of the pixels (current scale, idle current, knee), for the whole run
// and step by step; the copper's temperature; and each meter range's gain and
// offset error, which are common to its readings, cancel between neighbours and do
// not average out. Resistances have priors so wide that a conductor which no
// reading sees stays unknown. Accuracy figures are limits and taken as the ends of
// an even distribution, so a limit a has the standard uncertainty a/√3 (JCGM
// 100:2008, 4.3.7).
//
// The package judges nothing: limits and verdicts are for whoever asks.
package estimate

import (
	"fmt"
	"math"
	"slices"

	"ohmkeep/internal/assessment"
	"ohmkeep/internal/leastsquares"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

// Estimate is what the readings of a run say.
type Estimate struct {
	Fit      assessment.Fit
	Elements []Element
	Readings []assessment.Reading
	Profiles []assessment.Profile

	problem    *problem
	x          []float64
	linear     []float64 // where the covariance is of; nil: x
	covariance *leastsquares.Matrix
	sum        float64 // of squares, all knowledge beforehand included
	inflation  float64

	within    []float64 // see physical
	withinSum float64
	nowhere   bool
}

// Element is one estimated resistance.
type Element struct {
	Kind  assessment.Kind
	Index int // into the run's joints, feeds, reels or supplies
	Rail  assessment.Rail

	Belief verdict.Belief // on the element's own scale, see Ohms and Scale
	Known  bool           // a reading tells of it
	Apart  bool           // of a rail: told apart from the other one
	Amps   float64        // greatest current in the steps read
	Watts  float64        // greatest heat of a joint's or feed's conductors in the steps read, as fitted

	Open     bool    // held open: nothing else explains the readings as well
	Excluded float64 // Ω, of an open one: less than this the readings exclude

	bent   bool
	shares *split                                          // between its rails; nil of an element that is one conductor
	at     func(x []float64) (mean float64, row []float64) // the belief's mean by unknowns
	row    []float64                                       // its derivative at the fit
}

// Ohms turns a value on the belief's scale into ohms (per metre for a reel); an
// open conductor is +Inf.
func (e *Element) Ohms(t float64) float64 {
	if !e.bent {
		return t
	}
	if t >= unbendMost {
		return math.Inf(1)
	}
	return unbend(t)
}

// Scale is the inverse of Ohms.
func (e *Element) Scale(ohms float64) float64 {
	if !e.bent {
		return ohms
	}
	return bend(ohms)
}

// Make fits a run to its readings. The error tells that a part of the run hangs on
// no supply, or that the network could not be solved even as the file states it.
func Make(r *run.Run, readings []reading.Reading) (*Estimate, error) {
	p, err := pose(r, readings)
	if err != nil {
		return nil, err
	}
	fit, err := p.solveWithin(p.start(), firstSteps)
	if err != nil {
		return nil, fmt.Errorf("run %q: %w", r.Name, err)
	}
	fit, err = p.explain(fit)
	if err != nil {
		return nil, fmt.Errorf("run %q: %w", r.Name, err)
	}
	fit = p.last(fit)
	for i, c := range p.parted {
		p.parted[i].excluded = p.excluded(c, fit)
	}
	// Other accounts were tried since: bring states and predictions back to this one.
	if err := p.Evaluate(fit.X, make([]float64, len(fit.Residuals)), nil); err != nil {
		return nil, fmt.Errorf("run %q: %w", r.Name, err)
	}
	e := &Estimate{problem: p, x: fit.X, covariance: fit.Covariance, sum: fit.SumSquares, inflation: 1}
	e.describeFit(fit)
	e.describeReadings(readings, fit)
	e.describeElements()
	e.describeProfiles()
	return e, nil
}

func (p *problem) start() []float64 {
	x := make([]float64, len(p.unknowns))
	for i := range x {
		x[i], _ = p.priorOf(i)
	}
	return x
}

func (p *problem) solve(start []float64) (*leastsquares.Fit, error) {
	return p.solveWithin(start, mostSteps)
}

// mostSteps is far more than a fit takes that is going to settle.
const mostSteps = 100

// patientSteps are for a fit on which a verdict hangs and which has not settled.
const patientSteps = 400

// last makes the last fit of an account: without holding unread reels to be like the
// others (unlike), and between walls at zero where a conductor came out far below nothing,
// where derivatives are not exact (see chain). One that does not settle gets other chances
// (patiently).
func (p *problem) last(fit *leastsquares.Fit) *leastsquares.Fit {
	start := p.unlike(fit)
	if p.farBelow(fit) {
		if within := p.walledFrom(fit, start); within != nil {
			return within
		}
	}
	if start != nil {
		if again, err := p.solve(start); err == nil {
			fit = again
		}
	}
	return p.patiently(fit)
}

// patiently gives a fit that did not settle other chances: more steps from where it is, and
// the run file's own figures as a start. Where that does not settle either, or a conductor
// comes out far below nothing, one between walls is taken.
func (p *problem) patiently(fit *leastsquares.Fit) *leastsquares.Fit {
	best := fit
	for _, start := range [][]float64{fit.X, p.start()} {
		if best.Converged {
			break
		}
		other, err := p.solveWithin(start, patientSteps)
		if err == nil && (other.SumSquares < best.SumSquares || other.Converged && other.SumSquares < best.SumSquares+openGain) {
			best = other
		}
	}
	if best.Converged && !p.farBelow(best) {
		return best
	}
	if other := p.walledFrom(best, nil); other != nil {
		return other
	}
	return best
}

// walledFrom is a fit between walls, unless it explains the readings worse than another fit
// by an open conductor's worth; nil where it does, or none settles.
func (p *problem) walledFrom(fit *leastsquares.Fit, start []float64) *leastsquares.Fit {
	if start == nil {
		start = fit.X
	}
	if other := p.walled(start, p.start()); other != nil && other.SumSquares < fit.SumSquares+openGain {
		return other
	}
	return nil
}

// firstSteps is enough where no reading is grossly wrong; where one is, there is no
// use in fitting it well.
const firstSteps = 15

func (p *problem) solveWithin(start []float64, most int) (*leastsquares.Fit, error) {
	return p.solveTo(start, p.options(most))
}

func (p *problem) solveTo(start []float64, opt leastsquares.Options) (*leastsquares.Fit, error) {
	return leastsquares.Solve(p, start, p.prior(), opt)
}

func (p *problem) prior() *leastsquares.Prior {
	prior := &leastsquares.Prior{Mean: make([]float64, len(p.unknowns)), Deviation: make([]float64, len(p.unknowns))}
	for i := range p.unknowns {
		prior.Mean[i], prior.Deviation[i] = p.priorOf(i)
	}
	return prior
}

// misfit is the probability below which the model does not explain the readings;
// intervals are then widened by the square root of chi-squared over its degrees of
// freedom (Birge, Phys. Rev. 40 (1932) 207).
const misfit = 0.01

func (e *Estimate) describeFit(fit *leastsquares.Fit) {
	n := e.problem.freedom(fit)
	squares := e.problem.chiSquared(fit)
	e.Fit = assessment.Fit{Converged: fit.Converged, ChiSquared: squares, DegreesOfFreedom: n,
		PValue: chiSquaredTail(squares, n)}
	if !slices.ContainsFunc(e.problem.observations, func(o observation) bool { return !o.out }) {
		// Nothing was fitted to anything, however well that went.
		e.Fit = assessment.Fit{PValue: math.NaN()}
		return
	}
	if e.Fit.PValue < misfit && n > 0 {
		e.inflation = math.Sqrt(squares / float64(n))
	}
}

// freedom is the number of degrees of freedom. Knowledge beforehand is a reading
// that costs its unknown one degree of freedom, so what is left is the readings and
// splits; but a vague prior is no reading, and its unknown costs as much as the
// readings determine it.
func (p *problem) freedom(fit *leastsquares.Fit) int {
	n := 0.0
	for _, s := range p.splits {
		if !s.idle {
			n++
		}
	}
	for _, o := range p.observations {
		if !o.out {
			n++
		}
	}
	for j, u := range p.unknowns {
		if u.vague && !p.open[j] && fit.Covariance != nil {
			n -= 1 - fit.Covariance.At(j, j)/(u.deviation*u.deviation)
		}
	}
	return max(0, int(math.Round(n)))
}

// deviation is the posterior standard deviation of a linear function of the unknowns.
func (e *Estimate) deviation(row []float64) float64 {
	return e.inflation * math.Sqrt(math.Max(quadratic(e.covariance, row), 0))
}

// quadratic is rowᵀ·C·row.
func quadratic(c *leastsquares.Matrix, row []float64) float64 {
	sum := 0.0
	for i, a := range row {
		if a == 0 {
			continue
		}
		inner := 0.0
		for j, b := range row {
			if b != 0 {
				inner += c.At(i, j) * b
			}
		}
		sum += a * inner
	}
	return sum
}

func (e *Estimate) describeReadings(readings []reading.Reading, fit *leastsquares.Fit) {
	e.Readings = make([]assessment.Reading, len(readings))
	for i, x := range readings {
		e.Readings[i] = assessment.Reading{Reading: x, Predicted: math.NaN(), Note: e.problem.notes[i]}
	}
	for i, o := range e.problem.observations {
		out := &e.Readings[o.reading]
		out.Predicted = e.problem.predicted[i]
		out.Residual = o.value - out.Predicted
		out.Standardised = e.problem.standardised(i, fit)
		out.Suspect, out.Used = o.out, !o.out
	}
}

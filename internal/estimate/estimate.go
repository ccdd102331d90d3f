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

	linear
	inflation float64

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
	outcome, err := best(p)
	if err != nil {
		return nil, fmt.Errorf("run %q: %w", r.Name, err)
	}
	fit := outcome.Fit
	e := &Estimate{linear: p.linearAt(fit), inflation: 1}
	e.describeFit(fit)
	e.describeReadings(readings, fit)
	e.describeElements(outcome.Open)
	e.describeProfiles()
	return e, nil
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
	if e.Fit.PValue < misfit && n > 0 {
		e.inflation = math.Sqrt(squares / float64(n))
	}
}

// deviation is the posterior standard deviation of a linear function of the unknowns.
func (e *Estimate) deviation(row []float64) float64 {
	return e.inflation * math.Sqrt(math.Max(quadratic(e.covariance, row), 0))
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

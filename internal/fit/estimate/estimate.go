// Package estimate finds the resistances of a run that explain its readings, and
// how well they are known.
//
// An Estimate is the account that explains the readings best (hypothesis), told element by
// element: how large each resistance is, how well that is known in either direction, which
// readings carry it, and what the run looks like.
//
// The package judges nothing: limits and verdicts are for whoever asks.
package estimate

import (
	"fmt"
	"math"
	"slices"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/fit/search"
	"ohmkeep/internal/numeric/chisquared"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

// Estimate is what the readings of a run say.
type Estimate struct {
	Fit      assessment.Fit
	Elements []Element
	Readings []assessment.Reading
	Profiles []assessment.Profile

	Mistakes []model.Mistake // of the hand, each of several readings, which were used as mended

	model.Linear
	Inflation float64 // of deviations, where the fit is poor; 1 otherwise

	jacobian     *leastsquares.Matrix // of the fit
	readings     []reading.Reading
	alternatives [][]bool  // see Rivals
	boundedX     []float64 // see inside
	boundedSum   float64
	noBoundedFit bool
}

// Element is one estimated resistance.
type Element struct {
	Kind  run.Kind
	Index int // into the run's joints, feeds, reels or supplies
	Rail  run.Rail

	Belief    verdict.Belief // on the element's own scale, see Ohms and Scale
	Known     bool           // a reading tells of it
	RailKnown bool           // of a rail: told apart from the other one
	Amps      float64        // greatest current in the steps read
	Watts     float64        // greatest heat of a joint's or feed's conductors in the steps read, as fitted

	Open       bool    // held open: nothing else explains the readings as well
	LowerBound float64 // Ω, of an open one: less than this the readings exclude

	transformed bool
	split       *prior.Split                                    // between its rails; nil of an element that is one conductor
	valueAt     func(x []float64) (mean float64, row []float64) // the belief's mean by unknowns
	Row         []float64                                       // its derivative at the fit
}

// Ohms turns a value on the belief's scale into ohms (per metre for a reel); an
// open conductor is +Inf.
func (e *Element) Ohms(t float64) float64 {
	if !e.transformed {
		return t
	}
	if t >= prior.MaxTransformed {
		return math.Inf(1)
	}
	return prior.ToOhms(t)
}

// Scale is the inverse of Ohms.
func (e *Element) Scale(ohms float64) float64 {
	if !e.transformed {
		return ohms
	}
	return prior.Transform(ohms)
}

// Make fits a run to its readings. The error tells that a part of the run hangs on
// no supply, or that the network could not be solved even as the file states it.
func Make(r *run.Run, readings []reading.Reading) (*Estimate, error) {
	return of(r, readings, search.Best)
}

// Again fits the same run to other readings, which scatter as those of the estimate do. The
// errors are those of Make.
func (e *Estimate) Refit(readings []reading.Reading) (*Estimate, error) {
	return of(e.Problem.Run, readings, func(p *model.Problem) (*search.Outcome, error) {
		return search.BestWithNoise(p, e.Problem.Noise)
	})
}

// of describes what some search finds of the readings.
func of(r *run.Run, readings []reading.Reading, search func(*model.Problem) (*search.Outcome, error)) (*Estimate, error) {
	p, err := model.New(r, readings)
	if err != nil {
		return nil, err
	}
	outcome, err := search(p)
	if err != nil {
		return nil, fmt.Errorf("run %q: %w", r.Name, err)
	}
	fit := outcome.Fit
	e := &Estimate{Linear: p.LinearAt(fit), Inflation: 1, jacobian: fit.Jacobian, readings: readings, alternatives: outcome.Alternatives}
	e.describeFit(outcome)
	e.Mistakes = outcome.Mistakes
	e.describeReadings(readings, fit)
	if err := e.describeSlips(); err != nil {
		return nil, err
	}
	e.describeElements(outcome.Open)
	e.describeProfiles()
	return e, nil
}

// mostRivals is how many other accounts are worked out.
const mostRivals = 3

// Rivals are estimates that leave out other readings and explain the rest about as well: of
// two readings that contradict each other, nobody can say which is wrong. What they do not
// agree on is not known. An account that cannot be fitted by itself is none.
func (e *Estimate) Alternatives() (list []*Estimate) {
	for _, out := range e.alternatives[:min(len(e.alternatives), mostRivals)] {
		rival, err := of(e.Problem.Run, e.readings, func(p *model.Problem) (*search.Outcome, error) {
			return search.BestWithout(p, out)
		})
		if err == nil {
			list = append(list, rival)
		}
	}
	return list
}

func (e *Estimate) describeFit(o *search.Outcome) {
	n, squares := o.DegreesOfFreedom, o.ChiSquared
	e.Fit = assessment.Fit{Converged: o.Fit.Converged, ChiSquared: squares, DegreesOfFreedom: n,
		PValue: chisquared.Tail(squares, n)}
	if !slices.ContainsFunc(e.Problem.Observations, func(o model.Observation) bool { return !o.Excluded }) {
		// Nothing was fitted to anything, however well that went.
		e.Fit = assessment.Fit{PValue: math.NaN()}
		return
	}
	if e.Fit.PValue < model.MinPValue && n > 0 {
		e.Inflation = math.Sqrt(squares / float64(n))
	}
}

// deviation is the posterior standard deviation of a linear function of the unknowns.
func (e *Estimate) deviation(row []float64) float64 {
	return e.Inflation * math.Sqrt(math.Max(matrix.Quadratic(e.Covariance, row), 0))
}

// describeSlips marks the readings that a slip changed by more than they scatter, with what they
// should show as they were written.
func (e *Estimate) describeSlips() error {
	p := e.Problem
	n, _ := p.Size()
	for _, s := range e.Mistakes {
		p.UndoCorrection(s)
		if err := p.Evaluate(e.X, make([]float64, n), nil); err != nil {
			return err
		}
		for i := range p.Observations {
			o := &p.Observations[i]
			if s.Affects(o) && !o.Excluded && math.Abs(o.Value-p.Predicted[i]) > changedBy*o.Deviation {
				out := &e.Readings[o.Reading]
				out.Predicted, out.Residual, out.Suspect = p.Predicted[i], o.Value-p.Predicted[i], true
				out.Standardised = out.Residual / o.Deviation
			}
		}
		p.Correct(s)
		if err := p.Evaluate(e.X, make([]float64, n), nil); err != nil {
			return err
		}
	}
	return nil
}

// changedBy is how many deviations a slip must change a reading by for that to be wrong.
const changedBy = 5.0

func (e *Estimate) describeReadings(readings []reading.Reading, fit *leastsquares.Fit) {
	e.Readings = make([]assessment.Reading, len(readings))
	for i, x := range readings {
		e.Readings[i] = assessment.Reading{Reading: x, Predicted: math.NaN(), Note: e.Problem.Notes[i]}
	}
	for i, o := range e.Problem.Observations {
		out := &e.Readings[o.Reading]
		out.Predicted = e.Problem.Predicted[i]
		out.Residual = o.Value - out.Predicted
		out.Standardised = e.Problem.Standardised(i, fit)
		out.Suspect, out.Used = o.Excluded, !o.Excluded
	}
}

// Package estimate estimates the resistances of a run from its readings, with their
// uncertainties.
//
// An Estimate describes the best explanation of the readings (package search) by element: its
// resistance, its uncertainty in either direction, and the readings that determine it. Limits and
// verdicts are for the caller.
package estimate

import (
	"fmt"
	"math"
	"slices"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/fit/search"
	"ohmkeep/internal/numeric/chisquared"
	"ohmkeep/internal/numeric/matrix"
	"ohmkeep/internal/numeric/parallel"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

// Estimate is the result of fitting a run to its readings.
type Estimate struct {
	Fit      assessment.Fit
	Elements []Element
	Readings []assessment.Reading
	Profiles []assessment.Profile

	Mistakes []model.Mistake // operator mistakes; their readings were used corrected, or discarded
	Score    float64         // of the explanation, to be compared with those of its alternatives; see search.Outcome

	model.Linear
	Observations []model.Observation // as the fit takes them
	Inflation    float64             // factor on standard deviations where the fit is poor; 1 otherwise

	point        *model.Point    // the network solved at X
	jacobian     []matrix.Sparse // of the fit, by observation
	readings     []reading.Reading
	alternatives []*search.Outcome // see Alternatives
}

// Element is one estimated resistance.
type Element struct {
	Kind  run.Kind
	Index int // into the run's joints, feeds, reels or supplies
	Rail  run.Rail

	Belief    verdict.Belief // on the element's own scale, see Ohms and Scale
	Known     bool           // determined by the readings
	RailKnown bool           // the readings determine each of its rails
	Amps      float64        // A, largest current in the steps with readings
	Watts     float64        // W, largest heat of a joint's or feed's conductors in the steps with readings

	Open       bool    // held open: nothing else explains the readings as well
	LowerBound float64 // Ω, of an open element: the least resistance that it can have

	resistance model.Resistance // its value as a function of the unknowns
	split      *prior.Split     // between its rails; nil for a single conductor
	Row        []float64        // derivatives of its value at the fit
}

// Ohms converts a value on the element's scale to ohms (per metre for a reel); an open conductor
// is +Inf.
func (e *Element) Ohms(t float64) float64 {
	if !e.resistance.Transformed {
		return t
	}
	if t >= prior.MaxTransformed {
		return math.Inf(1)
	}
	return prior.ToOhms(t)
}

// Scale is the inverse of Ohms.
func (e *Element) Scale(ohms float64) float64 {
	if !e.resistance.Transformed {
		return ohms
	}
	return prior.Transform(ohms)
}

// Make fits a run to its readings. It returns an error where a part of the run is connected to no
// supply, or the network cannot be solved with the values of the run file.
func Make(r *run.Run, readings []reading.Reading) (*Estimate, error) {
	return MakeWith(r, readings, search.Best)
}

// MakeWith fits a run to its readings by a given search. Its errors are those of Make, and those
// of the search.
func MakeWith(r *run.Run, readings []reading.Reading, search func(*model.Model) (*search.Outcome, error)) (*Estimate, error) {
	m, err := model.New(r, readings)
	if err != nil {
		return nil, err
	}
	outcome, err := search(m)
	if err != nil {
		return nil, fmt.Errorf("run %q: %w", r.Name, err)
	}
	return fromOutcome(readings, outcome)
}

// fromOutcome describes an explanation of the readings. Its error is that of the network.
func fromOutcome(readings []reading.Reading, outcome *search.Outcome) (*Estimate, error) {
	point, err := outcome.Model.At(outcome.Assumptions, outcome.X)
	if err != nil {
		return nil, err
	}
	e := &Estimate{Linear: outcome.Linear(), Observations: outcome.Observations, Mistakes: outcome.Assumptions.Mistakes, Score: outcome.Score, Inflation: 1,
		point: point, readings: readings, alternatives: outcome.Alternatives}
	for i := range e.Observations {
		e.jacobian = append(e.jacobian, matrix.SparseOf(outcome.Jacobian.Row(i), 0))
	}
	e.describeFit(outcome.Fit)
	e.describeReadings(readings, outcome.Fit)
	if err := e.describeMistakes(); err != nil {
		return nil, err
	}
	e.describeElements(outcome.Open)
	e.describeProfiles()
	return e, nil
}

// Alternatives returns estimates under other assumptions that explain the readings about as well:
// of two readings that contradict each other, either may be wrong; a reel may be dark. A value on
// which the estimates disagree is unknown. An alternative that cannot be described is left out.
func (e *Estimate) Alternatives() []*Estimate {
	list := make([]*Estimate, len(e.alternatives))
	parallel.For(len(list), func(i int) {
		if other, err := fromOutcome(e.readings, e.alternatives[i]); err == nil {
			list[i] = other
		}
	})
	return slices.DeleteFunc(list, func(x *Estimate) bool { return x == nil })
}

func (e *Estimate) describeFit(fit *model.Fit) {
	n, squares := fit.DegreesOfFreedom(), fit.ChiSquared()
	e.Fit = assessment.Fit{Converged: fit.Converged, ChiSquared: squares, DegreesOfFreedom: n,
		PValue: chisquared.Tail(squares, n)}
	if !slices.ContainsFunc(e.Observations, func(o model.Observation) bool { return !o.Excluded }) {
		// Without readings the fit only reproduces the priors.
		e.Fit = assessment.Fit{PValue: math.NaN()}
		return
	}
	if e.Fit.PValue < model.MinPValue && n > 0 {
		e.Inflation = math.Sqrt(squares / float64(n))
	}
}

// deviation returns the posterior standard deviation of a linear function of the unknowns.
func (e *Estimate) deviation(row []float64) float64 {
	return e.Inflation * math.Sqrt(math.Max(matrix.Quadratic(e.Covariance, row), 0))
}

// describeMistakes marks the readings that a mistake changed by more than mistakeSigmas, with the
// values predicted for them as written. Of readings that were not taken it also marks the others, as
// not suspect.
func (e *Estimate) describeMistakes() error {
	for k, mistake := range e.Mistakes {
		without := e.Assumptions
		without.Mistakes = slices.Delete(slices.Clone(e.Mistakes), k, k+1)
		point, err := e.Model.At(without, e.X)
		if err != nil {
			return err
		}
		row := make([]float64, len(e.X))
		for _, o := range e.Model.Under(without) {
			if o.Excluded || mistake.RightValues() || !mistake.Affects(&o) {
				continue
			}
			predicted, err := point.Predict(&o, row)
			if err != nil {
				return err
			}
			out := &e.Readings[o.Reading]
			out.Suspect = math.Abs(o.Value-predicted) > mistakeSigmas*o.Deviation
			if out.Mistaken = out.Suspect || mistake.Discards(); out.Suspect {
				out.Predicted, out.Residual = predicted, o.Value-predicted
				out.Standardised = out.Residual / o.Deviation
			}
		}
	}
	return nil
}

// mistakeSigmas is the change of a reading by a mistake, in standard deviations, above which the
// reading is marked.
const mistakeSigmas = 5.0

func (e *Estimate) describeReadings(readings []reading.Reading, fit *model.Fit) {
	e.Readings = make([]assessment.Reading, len(readings))
	for i, x := range readings {
		e.Readings[i] = assessment.Reading{Reading: x, Predicted: math.NaN(), Note: e.Model.Notes[i]}
	}
	for i, o := range fit.Observations {
		out := &e.Readings[o.Reading]
		out.Predicted = fit.Predicted[i]
		out.Residual = o.Value - out.Predicted
		out.Standardised = fit.Standardised(i)
		out.Suspect, out.Used = o.Excluded, !o.Excluded
	}
}

// Predict returns the value that the meter should show for an observation at the best estimate, V
// or A, and its derivatives by unknown. Its error is that of the network.
func (e *Estimate) Predict(o *model.Observation) (value float64, row []float64, err error) {
	row = make([]float64, len(e.point.X))
	value, err = e.point.Predict(o, row)
	return value, row, err
}

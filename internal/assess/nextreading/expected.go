package nextreading

import (
	"math"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/matrix"
)

// maxDeviationRatio is the largest ratio of deviations that is used for planning. A more strongly
// curved likelihood is evaluated once readings are chosen.
const maxDeviationRatio = 8.0

// deviationRatio is the ratio of the deviation towards the limit to that of the covariance.
func (t Target) deviationRatio(deviation float64) float64 {
	if !(t.Deviation > deviation) {
		return 1
	}
	return math.Min(t.Deviation/deviation, maxDeviationRatio)
}

// expectedEstimate returns the estimate as expected once some candidates are read. The estimate
// keeps its minimum, because the expected readings agree with it; only the sum of squares becomes
// steeper. ProfileBelief then evaluates it like a real one, with the currents of the candidates'
// steps.
func (o *Outlook) expectedEstimate(list []Candidate, targets []Target) (*estimate.Estimate, error) {
	var more []model.Observation
	narrowed := o.Covariance.Clone()
	for _, c := range list {
		one := c.Observation
		one.Reading = model.Absent
		shown, err := o.point.Predict(&one, make([]float64, len(o.X)))
		if err != nil {
			return nil, err
		}
		one.Value = shown
		more = append(more, one)
		matrix.Narrow(narrowed, c.row)
	}
	l := o.Linear.Narrowed(o.Model.WithReadings(o.est.Model, more), narrowed)
	var elements []int
	for _, t := range targets {
		elements = append(elements, t.Element)
	}
	return o.est.WithModel(l, elements)
}

// DeviationsTowardsLimits returns the deviations of targets towards their limits as expected once
// some candidates are read; +Inf where they leave an element undetermined.
func (o *Outlook) DeviationsTowardsLimits(list []Candidate, targets []Target) []float64 {
	deviations := make([]float64, len(targets))
	f, err := o.expectedEstimate(list, targets)
	for k, t := range targets {
		deviations[k] = math.Inf(1)
		if err == nil {
			deviations[k] = f.ProfileBelief(t.Element, f.Elements[t.Element].Ohms(t.Limit), estimate.VerdictSigmas).Deviation
		}
	}
	return deviations
}

// settledByLikelihood reports whether target k, settled by the covariance once some candidates are
// read, is also settled by the likelihood towards its limit. If not, its goal is reduced by the
// missing factor.
func (c *choice) settledByLikelihood(k int, expected *estimate.Estimate) bool {
	t := c.targets[k]
	b := c.outlook.est.Elements[t.Element].Belief
	needs := c.outlook.settlingDeviation(t, b.Mean, b.Deviation*t.deviationRatio(b.Deviation))
	x := &expected.Elements[t.Element]
	then := expected.ProfileBelief(t.Element, x.Ohms(t.Limit), estimate.VerdictSigmas).Deviation
	if then <= needs {
		return true
	}
	by := math.Max(needs/then, 1/maxDeviationRatio)
	c.goals[k] = math.Min(c.goals[k], c.Variance(k)*by*by)
	return false
}

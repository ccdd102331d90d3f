package nextreading

import (
	"math"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/matrix"
)

// mostStretch is the greatest stretch of a deviation that is planned with; what is
// bent further is looked at again once readings are foreseen.
const mostStretch = 8.0

// stretch is how many times the deviation towards the limit is what the covariance
// promises.
func (t Target) stretch(deviation float64) float64 {
	if !(t.Deviation > deviation) {
		return 1
	}
	return math.Min(t.Deviation/deviation, mostStretch)
}

// foresee is the estimate as it will be once some candidates show what the fit expects
// of them, and how well the targets' elements are known then. The fit stays where it
// is, for the new readings agree with it; only the sum of squares grows steeper about it.
// So BeliefTowards tells of the foreseen as it will of the real one, with the currents that
// the candidates' steps send through an element and without counting on more than the
// sum of squares itself gives.
func (o *Outlook) foresee(list []Candidate, targets []Target) (*estimate.Estimate, error) {
	var more []model.Observation
	narrowed := o.Covariance.Clone()
	for _, c := range list {
		one := c.Observation
		one.Reading = model.Absent
		shown, err := o.Problem.Predict(&one, o.X, make([]float64, len(o.X)))
		if err != nil {
			return nil, err
		}
		one.Value = shown
		more = append(more, one)
		matrix.Narrow(narrowed, c.row)
	}
	l := model.Linear{Problem: o.Problem.WithReadings(o.est.Problem, more), X: o.X, Covariance: narrowed}
	var elements []int
	for _, t := range targets {
		elements = append(elements, t.Element)
	}
	return o.est.WithModel(l, elements)
}

// DeviationsTowardsLimits gives the deviations of targets towards their limits as they will be once some
// candidates are read, +Inf where nothing will tell.
func (o *Outlook) DeviationsTowardsLimits(list []Candidate, targets []Target) []float64 {
	deviations := make([]float64, len(targets))
	f, err := o.foresee(list, targets)
	for k, t := range targets {
		deviations[k] = math.Inf(1)
		if err == nil {
			deviations[k] = f.BeliefTowards(t.Element, f.Elements[t.Element].Ohms(t.Limit), estimate.VerdictSigmas).Deviation
		}
	}
	return deviations
}

// lasting reports whether target k, settled by the covariance once some candidates are
// read, is so in the direction of its limit too. If not, what is needed of it is
// tightened by as much as is lacking.
func (c *choice) lasting(k int, foreseen *estimate.Estimate) bool {
	t := c.targets[k]
	b := c.outlook.est.Elements[t.Element].Belief
	needs := t.SettlingDeviation(b.Mean, b.Deviation*t.stretch(b.Deviation))
	x := &foreseen.Elements[t.Element]
	then := foreseen.BeliefTowards(t.Element, x.Ohms(t.Limit), estimate.VerdictSigmas).Deviation
	if then <= needs {
		return true
	}
	by := math.Max(needs/then, 1/mostStretch)
	c.goals[k] = math.Min(c.goals[k], c.Variance(k)*by*by)
	return false
}

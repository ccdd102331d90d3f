package estimate

import (
	"math"
	"slices"
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
// So Towards tells of the foreseen as it will of the real one, with the currents that
// the candidates' steps send through an element and without counting on more than the
// sum of squares itself gives.
func (o *Outlook) foresee(list []Candidate, targets []Target) (*Estimate, error) {
	e, q := o.est, *o.problem
	q.observations = slices.Clone(e.problem.observations)
	q.splits = slices.Clone(e.problem.splits)
	q.open = make([]bool, len(q.unknowns))
	copy(q.open, e.problem.open)
	q.row = make([]float64, len(q.unknowns))
	q.unread = make([]bool, len(q.steps))
	for k := range q.unread {
		q.unread[k] = true
	}
	f := &Estimate{problem: &q, x: o.x, covariance: o.covariance.Clone(), inflation: e.inflation, Fit: e.Fit}
	for _, c := range list {
		one := c.observation
		one.reading = absent
		shown, err := q.predict(&one, o.x, q.row)
		if err != nil {
			return nil, err
		}
		one.value = shown
		q.observations = append(q.observations, one)
		narrow(f.covariance, c.row)
	}
	for _, x := range q.observations {
		q.unread[x.step] = false
	}
	q.predicted = make([]float64, len(q.observations))
	var err error
	if f.sum, err = q.sumAt(o.x); err != nil {
		return nil, err
	}
	f.Elements = slices.Clone(e.Elements)
	for _, t := range targets {
		x := &f.Elements[t.Element]
		x.row = o.widen(x.row)
		view, done := f.alone(x.Kind, x.Index)
		done()
		along := times(view.covariance, x.row)
		x.Belief.Deviation = f.inflation * math.Sqrt(math.Max(dot(x.row, along), 0))
		x.Belief.Even = f.even(along, x.Belief.Deviation)
	}
	return f, nil
}

// Towards gives the deviations of targets towards their limits as they will be once some
// candidates are read, +Inf where nothing will tell.
func (o *Outlook) Towards(list []Candidate, targets []Target) []float64 {
	deviations := make([]float64, len(targets))
	f, err := o.foresee(list, targets)
	for k, t := range targets {
		deviations[k] = math.Inf(1)
		if err == nil {
			deviations[k] = f.Towards(t.Element, f.Elements[t.Element].Ohms(t.Limit), Verdict).Deviation
		}
	}
	return deviations
}

// lasting tells whether target k, settled by the covariance once some candidates are
// read, is so in the direction of its limit too. If not, what is needed of it is
// tightened by as much as is lacking.
func (c *choice) lasting(k int, foreseen *Estimate) bool {
	t := c.targets[k]
	b := c.outlook.est.Elements[t.Element].Belief
	needs := t.Needs(b.Mean, b.Deviation*t.stretch(b.Deviation))
	x := &foreseen.Elements[t.Element]
	then := foreseen.Towards(t.Element, x.Ohms(t.Limit), Verdict).Deviation
	if then <= needs {
		return true
	}
	by := math.Max(needs/then, 1/mostStretch)
	c.goals[k] = math.Min(c.goals[k], c.Variance(k)*by*by)
	return false
}

package model

import (
	"slices"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/run"
)

// Extended returns a problem like p with nodes at the given places, all steps of the run and the
// ranges of the given meters, but without readings. Its first unknowns are those of p. It returns
// an error where a part of the run is connected to no supply.
func (p *Problem) Extended(meters []int, places []run.Place) (*Problem, error) {
	q := &Problem{Run: p.Run, temperature: p.temperature, Steps: p.Steps, ReadSteps: len(p.Steps), LitStep: p.LitStep, DarkReel: p.DarkReel, Segment: p.Segment,
		MeterRanges: slices.Clone(p.MeterRanges), HeldValue: p.HeldValue, NoiseGroups: p.NoiseGroups, Noise: p.Noise}
	for _, m := range meters {
		if p.Run.Meters[m].Each {
			continue // every place has its own errors
		}
		for at, limits := range p.Run.Meters[m].Ranges {
			if limits.Quantity != run.Temperature {
				q.MeterRangeIndex(MeterRange{Meter: m, Range: at, Limits: limits})
			}
		}
	}
	net, err := ladder.New(p.Run, places...)
	if err != nil {
		return nil, err
	}
	q.Net, q.gradient = net, net.NewGradient()
	q.addUnknowns()
	for i := range q.FoilPriors {
		q.FoilPriors[i].Disabled = p.FoilPriors[i].Disabled
	}
	q.row = make([]float64, len(q.Unknowns))
	for range q.Steps {
		q.Solvers = append(q.Solvers, net.NewSolver())
		q.states = append(q.states, q.NewState())
	}
	return q, nil
}

// WithReadings returns an extended problem with the observations of another problem and further
// ones. Only steps with observations are solved.
func (p *Problem) WithReadings(of *Problem, more []Observation) *Problem {
	q := *p
	q.Observations = append(slices.Clone(of.Observations), more...)
	q.Splits = slices.Clone(of.Splits)
	q.HeldOpen = make([]bool, len(q.Unknowns))
	copy(q.HeldOpen, of.HeldOpen)
	q.row = make([]float64, len(q.Unknowns))
	q.unreadSteps = make([]bool, len(q.Steps))
	for k := range q.unreadSteps {
		q.unreadSteps[k] = true
	}
	for _, x := range q.Observations {
		q.unreadSteps[x.Step] = false
	}
	q.Predicted = make([]float64, len(q.Observations))
	return &q
}

// ExtendedTo returns the linear model of an extended problem. Its further unknowns have their
// priors.
func (l Linear) ExtendedTo(wide *Problem) Linear {
	n := len(wide.Unknowns)
	w := Linear{Problem: wide, X: make([]float64, n), Covariance: leastsquares.NewMatrix(n, n)}
	copy(w.X, l.X)
	for i, u := range wide.Unknowns {
		if i < len(l.X) {
			copy(w.Covariance.Row(i), l.Covariance.Row(i))
			continue
		}
		w.X[i] = u.Mean
		w.Covariance.Row(i)[i] = u.Deviation * u.Deviation
	}
	return w
}

// ExtendRow extends a row of derivatives of the smaller problem with zeros.
func (l *Linear) ExtendRow(row []float64) []float64 {
	wide := make([]float64, len(l.X))
	copy(wide, row)
	return wide
}

package estimate

import (
	"slices"

	"ohmkeep/internal/ladder"
	"ohmkeep/internal/leastsquares"
	"ohmkeep/internal/run"
)

// wider is the problem with nodes at some places, all steps of the run, and the ranges of
// some meters, none of which was used yet; it has no readings. Its first unknowns are those
// of the problem. The error tells that the network cannot be laid out.
func (p *problem) wider(meters []int, places []run.Place) (*problem, error) {
	q := &problem{run: p.run, temperature: p.temperature, steps: p.steps, read: len(p.steps), segment: p.segment,
		scales: slices.Clone(p.scales), held: p.held}
	for _, m := range meters {
		if p.run.Meters[m].Each {
			continue // another place has other errors
		}
		for at, limits := range p.run.Meters[m].Ranges {
			if limits.Quantity != run.Temperature {
				q.scaleOf(scale{meter: m, at: at, limits: limits})
			}
		}
	}
	net, err := ladder.New(p.run, places...)
	if err != nil {
		return nil, err
	}
	q.net, q.gradient = net, net.NewGradient()
	q.layUnknowns()
	for i := range q.alikes {
		q.alikes[i].idle = p.alikes[i].idle
	}
	q.row = make([]float64, len(q.unknowns))
	for range q.steps {
		q.solvers = append(q.solvers, net.NewSolver())
		q.states = append(q.states, q.newState())
	}
	return q, nil
}

// withReadings is a wider problem with the readings of the narrow one and some more, of which
// it only settles the steps that are read.
func (p *problem) withReadings(of *problem, more []observation) *problem {
	q := *p
	q.observations = append(slices.Clone(of.observations), more...)
	q.splits = slices.Clone(of.splits)
	q.open = make([]bool, len(q.unknowns))
	copy(q.open, of.open)
	q.row = make([]float64, len(q.unknowns))
	q.unread = make([]bool, len(q.steps))
	for k := range q.unread {
		q.unread[k] = true
	}
	for _, x := range q.observations {
		q.unread[x.step] = false
	}
	q.predicted = make([]float64, len(q.observations))
	return &q
}

// widened is the linear model of a wider problem: of what it has beyond this one only the
// knowledge beforehand.
func (l linear) widened(wide *problem) linear {
	n := len(wide.unknowns)
	w := linear{problem: wide, x: make([]float64, n), covariance: leastsquares.NewMatrix(n, n)}
	copy(w.x, l.x)
	for i, u := range wide.unknowns {
		if i < len(l.x) {
			copy(w.covariance.Row(i), l.covariance.Row(i))
			continue
		}
		w.x[i] = u.mean
		w.covariance.Row(i)[i] = u.deviation * u.deviation
	}
	return w
}

// widen gives a row of a narrower problem this one's length.
func (l *linear) widen(row []float64) []float64 {
	wide := make([]float64, len(l.x))
	copy(wide, row)
	return wide
}

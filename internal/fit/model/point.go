package model

import (
	"slices"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/run"
)

// Point is the network of a model solved at values of its unknowns, under some assumptions. It must
// not be used concurrently.
type Point struct {
	Model   *Model
	X       []float64        // where it is solved
	Solvers []*ladder.Solver // by step; of the solved ones

	inside    bool             // no unknown is beyond the bounds within which the network is solved
	beyond    []*ladder.Change // by step: the resistances' changes from these bounds to X; of the solved ones
	lit       []int            // by step: the run's step whose load was lit
	dark      int              // index of a dark reel, Absent for none
	states    []*State
	gradients []*ladder.Gradient // by step: scratch
}

// At solves the network at x in every step with observations.
func (m *Model) At(a Assumptions, x []float64) (*Point, error) {
	p := m.newPoint(a)
	return p, p.solve(slices.Clone(x))
}

// newPoint returns a point with working memory that no other point uses.
func (m *Model) newPoint(a Assumptions) *Point {
	p, used := m.points.Get().(*Point)
	if !used {
		p = &Point{}
		for range m.Steps {
			p.gradients = append(p.gradients, m.Net.NewGradient())
			p.Solvers = append(p.Solvers, m.Net.NewSolver())
			p.states = append(p.states, m.newState())
			p.beyond = append(p.beyond, m.Net.NewChange())
		}
	}
	for _, s := range p.Solvers {
		s.Restart() // so that a fit does not depend on the one before
	}
	p.Model, p.lit, p.dark = m, m.LitSteps(a), a.DarkReel
	return p
}

// release gives the working memory of a point that is no longer needed to later ones.
func (p *Point) release() { p.Model.points.Put(p) }

// solve solves every step with observations at x.
func (p *Point) solve(x []float64) error {
	p.moveTo(x)
	for k, read := range p.Model.stepsRead {
		if read {
			if err := p.SolveStep(k); err != nil {
				return err
			}
		}
	}
	return nil
}

// moveTo sets the unknowns at which steps are solved.
func (p *Point) moveTo(x []float64) {
	p.X = x
	p.inside = true
	for j := range p.Model.Unknowns {
		p.inside = p.inside && p.Model.Unknowns[j].inside(x[j]) == x[j]
	}
}

// SolveStep solves the network of step k, which may have no observations. Its errors are those of
// the network. Different steps may be solved, and observations in them predicted, concurrently.
func (p *Point) SolveStep(k int) error {
	p.Model.set(p.states[k], k, p.X, p.lit[k], p.dark)
	err := p.Solvers[k].Solve(&p.states[k].Par, p.states[k].loads)
	if err != nil || p.inside {
		return err
	}
	p.Model.setBeyond(p.beyond[k], p.states[k], p.X)
	return p.Solvers[k].Respond(p.beyond[k])
}

// Predict returns the value that the meter should show for an observation, V or A, and writes its
// derivatives by unknown to row; a nil row asks for the value alone. It returns an error where the
// network is singular.
func (p *Point) Predict(o *Observation, row []float64) (float64, error) {
	value := p.ideal(o)
	if row == nil {
		return p.shown(o, value), nil
	}
	if err := p.differentiate(o); err != nil {
		return 0, err
	}
	p.Model.ChainRule(o.Step, p.X, p.states[o.Step], p.gradients[o.Step], row)
	if o.MeterRange != Absent {
		at := &p.Model.MeterRanges[o.MeterRange]
		slope := 1 + p.X[at.Gain]
		for j, d := range row {
			if d != 0 {
				row[j] = d * slope
			}
		}
		row[at.Gain] = value
		row[at.Offset] = 1
	}
	return p.shown(o, value), nil
}

// shown returns what the meter shows for a value, with its gain and offset error; the value itself
// without a meter.
func (p *Point) shown(o *Observation, value float64) float64 {
	if o.MeterRange == Absent {
		return value
	}
	at := &p.Model.MeterRanges[o.MeterRange]
	return value*(1+p.X[at.Gain]) + p.X[at.Offset]
}

// ideal returns the value of an observation without the errors of the meter. Beyond the bounds of resistances
// and factors (Unknown.inside) the model is continued in a straight line. The change of its slope with the other
// unknowns is neglected.
func (p *Point) ideal(o *Observation) float64 {
	s := p.Solvers[o.Step]
	if o.Feed != Absent {
		value := s.FeedAmps(o.Feed, run.Plus)
		if !p.inside {
			value += s.FeedAmpsChange(o.Feed, run.Plus, p.beyond[o.Step])
		}
		return value
	}
	value := s.Potential(o.From) - s.Potential(o.To)
	if !p.inside {
		value += s.VoltageChange(o.From, o.To)
	}
	return value
}

// differentiate writes the derivatives of an observation's ideal value to the gradient of its step.
func (p *Point) differentiate(o *Observation) error {
	s := p.Solvers[o.Step]
	if o.Feed != Absent {
		return s.FeedAmpsGradient(o.Feed, run.Plus, p.gradients[o.Step])
	}
	return s.VoltageGradient(o.From, o.To, p.gradients[o.Step])
}

// PairVoltageGradient returns the derivatives by unknown of the voltage between the two conductors
// of a place in step k.
func (p *Point) PairVoltageGradient(k int, at run.Place) ([]float64, error) {
	row := make([]float64, len(p.X))
	pair := Observation{Step: k, Feed: Absent, MeterRange: Absent, From: run.Point{Place: at}, To: run.Point{Place: at, Rail: run.Minus}}
	_, err := p.Predict(&pair, row)
	return row, err
}

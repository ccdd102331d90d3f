package model

import (
	"math"
	"slices"

	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
)

// Fit is the outcome of Solve.
type Fit struct {
	leastsquares.Fit
	Model        *Model
	Assumptions  Assumptions
	Observations []Observation // as the assumptions take them
	Predicted    []float64     // by observation: what the meter should show at X, V or A

	leverages    []float64         // by observation: see Leverage
	excludedRows map[int][]float64 // by excluded observation: derivatives of its prediction
}

// Start returns the means of the priors under some assumptions.
func (m *Model) Start(a Assumptions) []float64 { return m.Prior(a).Mean }

// Solve fits a model under some assumptions from a start. The same arguments give the same bits.
// Its error is that of leastsquares.Solve, also from the means of the priors.
func Solve(m *Model, a Assumptions, start []float64) (*Fit, error) {
	return SolveLimited(m, a, start, maxIterations)
}

// maxIterations is several times what a fit that converges needs.
const maxIterations = 100

// SolveLimited is Solve with at most so many iterations.
func SolveLimited(m *Model, a Assumptions, start []float64, most int) (*Fit, error) {
	o := leastsquares.Options{Tolerance: 1e-10, SlowProgress: stopReduction, MaxIterations: most}
	if a.Robust {
		o.SlowProgress = robustStopReduction
	}
	fit, err := m.solveWith(a, start, o)
	if err == nil && fit.Covariance != nil {
		fit.leverages = make([]float64, len(fit.Observations))
		for i := range fit.leverages {
			fit.leverages[i] = matrix.Quadratic(fit.Covariance, fit.Jacobian.Row(i))
		}
	}
	return fit, err
}

// Convergence, as the reduction of the sum of squares that is still possible, in squared standard
// uncertainties.
const (
	stopReduction       = 0.01 // a tenth of a standard uncertainty in one direction
	robustStopReduction = 0.1  // of a robust fit, which only has to find gross errors
)

// solveWith fits with the given options, from the means of the priors where the network has no
// solution at the start. The covariance is that without the bounds.
func (m *Model) solveWith(a Assumptions, start []float64, opt leastsquares.Options) (*Fit, error) {
	p := m.problem(a)
	defer p.point.release()
	if a.held != nil {
		start = slices.Clone(start)
		start[a.held.dependent] = m.Prior(a).Mean[a.held.dependent]
	}
	least, err := leastsquares.Solve(p, start, m.Prior(a), opt)
	if err != nil {
		least, err = leastsquares.Solve(p, m.Start(a), m.Prior(a), opt)
	}
	if err != nil {
		return nil, err
	}
	m.withoutBounds(least.Covariance, least.X)
	fit := &Fit{Fit: *least, Model: m, Assumptions: a, Observations: p.observations, Predicted: p.predicted}
	return fit, fit.predictExcluded(p.point)
}

// predictExcluded predicts the excluded observations. The last evaluation of the fit was at its X.
func (f *Fit) predictExcluded(at *Point) error {
	f.excludedRows = map[int][]float64{}
	for i := range f.Observations {
		o := &f.Observations[i]
		if !o.Excluded {
			continue
		}
		row := make([]float64, len(f.X))
		predicted, err := at.Predict(o, row)
		if err != nil {
			return err
		}
		f.Predicted[i], f.excludedRows[i] = predicted, row
	}
	return nil
}

// Prior returns the priors of all unknowns under some assumptions.
func (m *Model) Prior(a Assumptions) *leastsquares.Prior {
	prior := &leastsquares.Prior{Mean: make([]float64, len(m.Unknowns)), Deviation: make([]float64, len(m.Unknowns))}
	for i := range m.Unknowns {
		prior.Mean[i], prior.Deviation[i] = m.PriorOf(a, i)
	}
	if a.held != nil {
		prior.Deviation[a.held.dependent] = 1 // no residual depends on it
	}
	return prior
}

// PriorOf returns the prior of an unknown under some assumptions. That of an unknown that is held
// has a deviation of 1e-6, and that of a reel of other stock the one of a strip that states no
// resistance.
func (m *Model) PriorOf(a Assumptions, i int) (mean, deviation float64) {
	if v, held := a.Held[i]; held {
		return v, 1e-6
	}
	u := &m.Unknowns[i]
	if u.What == ReelRail && u.Index == a.OtherStock {
		return u.Mean, unstatedReelSpread
	}
	return u.Mean, math.Max(u.Deviation, 1e-9)
}

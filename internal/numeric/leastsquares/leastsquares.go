// Package leastsquares fits parameters to readings by nonlinear least squares. Residuals are
// divided by their standard uncertainties. Parameters may have independent Gaussian priors.
//
// The method is Levenberg–Marquardt in the form of Moré: a trust region in lengths scaled by the
// columns of the Jacobian, inside which the full Gauss–Newton update is made (J. J. Moré, The
// Levenberg–Marquardt algorithm: implementation and theory, Lecture Notes in Mathematics 630 (1978)
// 105). Each linear problem is solved by Householder reflections, never by normal equations. The same
// input gives the same bits.
//
// The package finds a local minimum near its start. It does not search for others, does not reject
// outliers, and has no bounds on parameters except the errors of the model.
package leastsquares

import (
	"errors"
	"fmt"
	"math"
)

// Model computes residuals.
type Model interface {
	// Size is the number of residuals and of parameters.
	Size() (residuals, parameters int)
	// Evaluate writes residuals, (measured − predicted)/uncertainty, at x and, where
	// jacobian is not nil, their derivatives ∂residual(i)/∂x(j), all of them. An error
	// means that x is outside the model's domain. The update to x is then rejected and
	// shortened, as one to a value that is not finite is. The last call of a fit is at its X.
	Evaluate(x, residuals []float64, jacobian *Matrix) error
}

// Prior holds the mean and standard deviation of each parameter before the readings; the parameters
// are independent. A deviation of +Inf, or a nil *Prior, means no knowledge.
type Prior struct{ Mean, Deviation []float64 }

// Options are the settings of a fit. The zero value selects the defaults.
type Options struct {
	MaxIterations int // updates tried, rejected ones included; 0 = 200
	// Tolerance ends the fit where all further updates together are predicted to lower the sum of
	// squares by no more than this part of it; 0 = 1e-16, a change of about 1e-8 of the parameters'
	// standard deviations.
	Tolerance float64
	// SlowProgress, in squared standard uncertainties, ends a fit with slow progress: where four updates in
	// a row lowered the sum of squares by no more than SlowProgress together, and the next one is predicted
	// to lower it by no more than 4·SlowProgress. With 0.01 the error left is at most a fifth of a standard
	// deviation, in one direction. A fit that converges normally makes larger updates until it ends
	// by Tolerance. 0 = never.
	SlowProgress float64
	// NoCovariance leaves Fit.Covariance nil and Fit.Singular false.
	NoCovariance bool
}

// Fit is the outcome.
type Fit struct {
	X, Residuals []float64
	Jacobian     *Matrix // at X
	// Covariance is (JᵀJ + P)⁻¹ with P the prior's weights, not scaled by the residual
	// variance; nil where Singular, or with Options.NoCovariance.
	Covariance *Matrix
	SumSquares float64 // residuals and priors together
	// Converged reports that X is a minimum to within Tolerance, SlowProgress or rounding. It is also
	// set where inexact derivatives leave no update that lowers the sum, and the predicted
	// minimum is within a tenth of the parameters' standard deviations.
	Converged bool
	// Singular reports that readings and priors leave some direction undetermined: X is
	// then one of many that explain the readings as well.
	Singular    bool
	Iterations  int
	Evaluations int
}

var errNotFinite = errors.New("residuals or derivatives at the start are not finite")

// Solve fits a model from start. It returns an error if sizes disagree, if a start or prior is not
// usable, or if the model cannot be evaluated at start or has derivatives that are not finite. A
// fit that did not converge is not an error.
func Solve(m Model, start []float64, prior *Prior, opt Options) (*Fit, error) {
	_, k := m.Size()
	if err := check(k, start, prior); err != nil {
		return nil, err
	}
	o, err := inOrder(m, start)
	if err != nil {
		return nil, err
	}
	s := newSearch(o, o.prior(prior), opt)
	copy(s.current.x, o.arrange(start))
	if err := s.evaluate(s.current); err != nil {
		return nil, err
	}
	if !finite(s.current.sum) {
		return nil, errNotFinite
	}
	s.begin()
	for s.iterations < s.maxIterations && !s.converged() {
		if s.slow() {
			break
		}
		s.iterations++
		if !s.advance() {
			break
		}
	}
	f, err := s.finish()
	if err != nil {
		return nil, err
	}
	return o.fit(f), nil
}

// check returns an error for sizes that disagree and for a start or prior that is not usable.
func check(k int, start []float64, prior *Prior) error {
	if len(start) != k {
		return fmt.Errorf("%d parameters, but a start of %d", k, len(start))
	}
	for j, x := range start {
		if !finite(x) {
			return fmt.Errorf("parameter %d starts at %g", j, x)
		}
	}
	if prior == nil {
		return nil
	}
	if len(prior.Mean) != k || len(prior.Deviation) != k {
		return fmt.Errorf("%d parameters, but a prior of %d means and %d deviations", k, len(prior.Mean), len(prior.Deviation))
	}
	for j, d := range prior.Deviation {
		if !(d > 0) {
			return fmt.Errorf("parameter %d has a prior deviation of %g (want more than 0, +Inf for zeroReduction)", j, d)
		}
		if !math.IsInf(d, 1) && !finite(prior.Mean[j]) {
			return fmt.Errorf("parameter %d has a prior mean of %g", j, prior.Mean[j])
		}
	}
	return nil
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// Package leastsquares fits parameters to readings whose residuals are divided by
// their standard uncertainties, with independent Gaussian knowledge of parameters
// before the readings.
//
// The method is Levenberg's and Marquardt's in Moré's form: a region of trust, in
// lengths scaled by the columns of the Jacobian, inside which the full
// Gauss–Newton step is taken as it is (J. J. Moré, The Levenberg–Marquardt
// algorithm: implementation and theory, Lecture Notes in Mathematics 630 (1978)
// 105). Each linear step is solved by Householder reflections, never by normal
// equations. The same input gives the same bits.
//
// The package finds the minimum nearest to where it starts, in that direction. It
// does not search for others, guards against no outliers, and knows no bounds but
// the errors of the model.
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
	// means that x is outside the model's domain: the step is refused and shortened, as
	// is one to anything that is not finite. The last call of a fit is at its X.
	Evaluate(x, residuals []float64, jacobian *Matrix) error
}

// Prior is what is known of each parameter before the readings, independently of the others.
// A deviation of +Inf is nothing, and so is a nil *Prior.
type Prior struct{ Mean, Deviation []float64 }

// Options has defaults for its zero value.
type Options struct {
	MaxIterations int // steps tried, refused ones included; 0 = 200
	// Tolerance ends the fit where the steps still to come promise to lower the sum of
	// squares by no more than this part of it; 0 = 1e-16, a change of about 1e-8 of the
	// parameters' deviations.
	Tolerance float64
	// Slack ends a fit that creeps: where four steps in a row lowered the sum of squares,
	// in squared standard uncertainties, by no more than this together, and no more is
	// promised. 0.01 leaves a tenth of a deviation, in one direction at most. A fit that
	// closes in as it should gains more in its last steps, and ends by Tolerance. 0 = never.
	Slack float64
}

// Fit is the outcome.
type Fit struct {
	X, Residuals []float64
	Jacobian     *Matrix // at X
	// Covariance is (JᵀJ + P)⁻¹ with P the prior's weights, not scaled by the residual
	// variance; nil where Singular.
	Covariance *Matrix
	SumSquares float64 // residuals and priors together
	// Converged reports that X is a minimum as near as Tolerance asks or rounding allows;
	// or, where derivatives are not quite those of the residuals so that no step lowers
	// the sum, that X is within a tenth of the parameters' deviations of where they point.
	Converged bool
	// Singular reports that readings and priors leave some direction undetermined: X is
	// then one of many that explain the readings as well.
	Singular    bool
	Iterations  int
	Evaluations int
}

// Solve fits a model from start. The error tells that sizes disagree, that a start
// or prior is no usable number, or that the model cannot be evaluated at start or has
// derivatives that are not finite; a fit that did not converge is no error.
func Solve(m Model, start []float64, prior *Prior, opt Options) (*Fit, error) {
	_, k := m.Size()
	if err := check(k, start, prior); err != nil {
		return nil, err
	}
	s := newSearch(m, prior, opt)
	copy(s.here.x, start)
	if err := s.visit(s.here); err != nil {
		return nil, err
	}
	if !finite(s.here.sum) {
		return nil, errors.New("residuals or derivatives at the start are not finite")
	}
	s.begin()
	for s.iterations < s.most && !s.arrived() {
		if s.slow() {
			break
		}
		s.iterations++
		if !s.advance() {
			break
		}
	}
	return s.finish()
}

// At is a fit that ends where it begins, converged or not: what the model and the prior make
// of a place found by other means. Its Converged is false.
func At(m Model, x []float64, prior *Prior) (*Fit, error) {
	_, k := m.Size()
	if err := check(k, x, prior); err != nil {
		return nil, err
	}
	s := newSearch(m, prior, Options{})
	copy(s.here.x, x)
	if err := s.visit(s.here); err != nil {
		return nil, err
	}
	if !finite(s.here.sum) {
		return nil, errors.New("residuals or derivatives are not finite")
	}
	s.begin()
	f, err := s.finish()
	if err == nil {
		f.Converged = false
	}
	return f, err
}

// check refuses input that no fit can be made of.
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
			return fmt.Errorf("parameter %d has a prior deviation of %g (want more than 0, +Inf for none)", j, d)
		}
		if !math.IsInf(d, 1) && !finite(prior.Mean[j]) {
			return fmt.Errorf("parameter %d has a prior mean of %g", j, prior.Mean[j])
		}
	}
	return nil
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

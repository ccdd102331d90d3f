// Package leastsquares fits parameters to readings whose residuals are divided by
// their standard uncertainties, with independent Gaussian knowledge of parameters
// beforehand.
//
// Levenberg's and Marquardt's method with Moré's scaling (Lecture Notes in
// Mathematics 630 (1978) 105) and Nielsen's rule for the damping (report
// IMM-REP-1999-05, Technical University of Denmark). Each linear step is solved by
// Householder reflections, never by normal equations. The same input gives the
// same bits.
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
	// jacobian is not nil, their derivatives ∂residual(i)/∂x(j). An error means that x
	// is outside the model's domain; the step there is shortened.
	Evaluate(x, residuals []float64, jacobian *Matrix) error
}

// Prior is what is known of each parameter beforehand. A deviation of +Inf is
// nothing, and so is a nil *Prior.
type Prior struct{ Mean, Deviation []float64 }

// Options has defaults for its zero value.
type Options struct {
	MaxIterations int // 0 = 500
	// Tolerance ends the fit where a full step would lower the sum of squares by less
	// than this part of it; 0 = 1e-18, all the digits there are.
	Tolerance float64
}

// Fit is the outcome.
type Fit struct {
	X, Residuals []float64
	Jacobian     *Matrix // at X
	// Covariance is (JᵀJ + P)⁻¹ with P the prior's weights, not scaled by the residual
	// variance; nil where Singular.
	Covariance  *Matrix
	SumSquares  float64 // residuals and priors together
	Converged   bool
	Singular    bool // readings and priors leave some direction undetermined
	Iterations  int
	Evaluations int
}

// Solve fits a model from start. It returns an error where the model cannot be
// evaluated at start or the sizes disagree; a fit that did not converge is no error.
func Solve(m Model, start []float64, prior *Prior, opt Options) (*Fit, error) {
	n, k := m.Size()
	if len(start) != k || prior != nil && (len(prior.Mean) != k || len(prior.Deviation) != k) {
		return nil, fmt.Errorf("%d parameters, but a start of %d", k, len(start))
	}
	s := newSearch(m, n, k, prior, opt)
	copy(s.fit.X, start)
	if err := m.Evaluate(s.fit.X, s.fit.Residuals, s.fit.Jacobian); err != nil {
		return nil, err
	}
	s.fit.Evaluations = 1
	s.fit.SumSquares = s.sum(s.fit.X, s.fit.Residuals)
	if math.IsNaN(s.fit.SumSquares) || math.IsInf(s.fit.SumSquares, 0) {
		return nil, errors.New("residuals at the start are not finite")
	}
	for s.fit.Iterations < s.most && !s.fit.Converged {
		s.fit.Iterations++
		if !s.advance() {
			break
		}
	}
	s.finish()
	return s.fit, nil
}

// search is the state of one fit.
type search struct {
	model     Model
	fit       *Fit
	weight    []float64 // of the priors: 1/deviation
	mean      []float64
	most      int
	tolerance float64

	linear          *triangle
	scale           []float64 // Moré's: the greatest length each column has had
	damping, grow   float64
	diagonal, right []float64
	gradient, delta []float64
	x, residuals    []float64 // tried
	jacobian        *Matrix
}

func newSearch(m Model, n, k int, prior *Prior, opt Options) *search {
	s := &search{model: m, most: opt.MaxIterations, tolerance: opt.Tolerance, damping: 1e-3, grow: 2,
		fit:    &Fit{X: make([]float64, k), Residuals: make([]float64, n), Jacobian: NewMatrix(n, k)},
		linear: newTriangle(n, k), residuals: make([]float64, n), jacobian: NewMatrix(n, k)}
	for _, v := range []*[]float64{&s.weight, &s.mean, &s.scale, &s.diagonal, &s.right, &s.gradient, &s.delta, &s.x} {
		*v = make([]float64, k)
	}
	if prior != nil {
		copy(s.mean, prior.Mean)
		for j, d := range prior.Deviation {
			s.weight[j] = 1 / d
		}
	}
	if s.most == 0 {
		s.most = 500
	}
	if s.tolerance == 0 {
		s.tolerance = 1e-18
	}
	return s
}

// sum is the sum of squares of residuals and priors.
func (s *search) sum(x, residuals []float64) float64 {
	sum := 0.0
	for _, r := range residuals {
		sum += r * r
	}
	for j, w := range s.weight {
		if w != 0 {
			z := (x[j] - s.mean[j]) * w
			sum += z * z
		}
	}
	return sum
}

// advance tries one step, and makes it if it helps. It returns false where no step
// of any size helps any more.
func (s *search) advance() bool {
	s.describe()
	promised := s.promise(s.damping)
	if promised <= s.tolerance*s.fit.SumSquares {
		// A small promise may be the damping's doing: ask for the full step.
		if full := s.promise(0); !(full > s.tolerance*s.fit.SumSquares) {
			s.fit.Converged = true
			return true
		}
		promised = s.promise(s.damping)
	}
	for j, d := range s.delta {
		s.x[j] = s.fit.X[j] + d
	}
	err := s.model.Evaluate(s.x, s.residuals, s.jacobian)
	s.fit.Evaluations++
	after := s.sum(s.x, s.residuals)
	gained := s.fit.SumSquares - after
	// Below this the difference of two sums is rounding, and the promise is trusted.
	rounding := 1e-13 * s.fit.SumSquares
	trusted := promised < rounding && math.Abs(gained) < rounding
	if err != nil || math.IsNaN(after) || !(gained > 1e-4*promised || trusted) {
		if trivial(s.delta, s.fit.X) {
			// The step has no digits left: nothing lower can be found from here.
			s.fit.Converged = err == nil && promised <= 1e-9*s.fit.SumSquares
			return s.fit.Converged
		}
		s.damping *= s.grow
		s.grow *= 2
		return s.damping < 1e300
	}
	copy(s.fit.X, s.x)
	copy(s.fit.Residuals, s.residuals)
	s.fit.Jacobian, s.jacobian = s.jacobian, s.fit.Jacobian
	s.fit.SumSquares = after
	if trusted {
		s.fit.Converged = true
		return true
	}
	ratio := 2*gained/promised - 1
	s.damping *= math.Max(1.0/3, 1-ratio*ratio*ratio)
	s.grow = 2
	return true
}

// trivial tells whether a step changes nothing but last digits.
func trivial(delta, x []float64) bool {
	for j, d := range delta {
		if math.Abs(d) > 1e-15*math.Abs(x[j]) {
			return false
		}
	}
	return true
}

// describe computes gradient and scale at the present place.
func (s *search) describe() {
	for j, w := range s.weight {
		s.gradient[j] = w * w * (s.fit.X[j] - s.mean[j])
	}
	lengths := s.right // free until promise
	for j, w := range s.weight {
		lengths[j] = w * w
	}
	for i, r := range s.fit.Residuals {
		for j, d := range s.fit.Jacobian.Row(i) {
			s.gradient[j] += d * r
			lengths[j] += d * d
		}
	}
	for j, l := range lengths {
		s.scale[j] = math.Max(s.scale[j], math.Sqrt(l))
	}
}

// promise solves the linear step with a damping and returns by how much the linear
// model says that it lowers the sum of squares; NaN where it is undetermined.
func (s *search) promise(damping float64) float64 {
	for j, w := range s.weight {
		d := math.Hypot(w, math.Sqrt(damping)*s.scale[j])
		s.diagonal[j], s.right[j] = d, 0
		if w != 0 {
			s.right[j] = w * w * (s.fit.X[j] - s.mean[j]) / d
		}
	}
	s.linear.fold(s.fit.Jacobian, s.fit.Residuals, s.diagonal, s.right)
	if !s.linear.solve(s.delta) {
		clear(s.delta)
		return math.NaN()
	}
	promised := 0.0
	for j, d := range s.delta {
		promised += -s.gradient[j]*d + damping*s.scale[j]*s.scale[j]*d*d
	}
	return promised
}

// finish computes the covariance.
func (s *search) finish() {
	clear(s.right)
	copy(s.diagonal, s.weight)
	s.linear.fold(s.fit.Jacobian, s.fit.Residuals, s.diagonal, s.right)
	if s.linear.singular() {
		s.fit.Singular = true
		return
	}
	s.fit.Covariance = s.linear.covariance()
}

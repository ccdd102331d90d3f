package leastsquares

import "math"

// place is one point in the space of parameters and what is known there.
type place struct {
	x, residuals []float64
	jacobian     *Matrix
	sum          float64 // of squares, priors included

	// What linearise adds.
	linear  *triangle // of the Jacobian and the priors, hardly damped where it is singular
	step    []float64 // the full step to the minimum of the linear model
	promise float64   // by how much the linear model says that step lowers the sum
	damping float64   // 0 unless singular
}

func newPlace(n, k int) *place {
	return &place{x: make([]float64, k), residuals: make([]float64, n), jacobian: NewMatrix(n, k),
		linear: newTriangle(n, k), step: make([]float64, k)}
}

// visit evaluates the model at p.x. The sum is not finite where any residual or
// derivative is not.
func (s *search) visit(p *place) error {
	s.evaluations++
	s.last = p
	if err := s.model.Evaluate(p.x, p.residuals, p.jacobian); err != nil {
		p.sum = math.NaN()
		return err
	}
	p.sum = 0
	for _, r := range p.residuals {
		p.sum += r * r
	}
	for j, w := range s.weight {
		if w != 0 {
			z := (p.x[j] - s.mean[j]) * w
			p.sum += z * z
		}
	}
	zero := 0.0
	for _, d := range p.jacobian.Data {
		zero += 0 * d
	}
	p.sum += zero // NaN where any derivative is not finite
	return nil
}

// rankDamping is the damping of a linear model that leaves some direction undetermined:
// too small to slow what is determined, large beside what rounding makes of nothing.
const rankDamping = 1e-14

// linearise finds the full step at a place that was visited.
func (s *search) linearise(p *place) {
	s.fold(p.linear, p, 0)
	p.damping = 0
	singular := false
	for j := range p.step {
		s.scale[j] = math.Max(s.scale[j], p.linear.columnLength(j))
		singular = singular || p.linear.sine(j) <= p.linear.lost()
	}
	if singular {
		p.damping = rankDamping
		s.fold(p.linear, p, rankDamping)
	}
	p.linear.solve(p.step)
	p.promise = s.promise(p.linear, p.step, p.damping)
}

// fold makes the triangle of the linear model at a place: the priors and the
// damping, λ times the squared scale, are its diagonal to begin with.
func (s *search) fold(t *triangle, p *place, damping float64) {
	for j, w := range s.weight {
		d := w
		if damping > 0 {
			d = math.Hypot(w, math.Sqrt(damping)*s.scaleOf(j))
		}
		s.diagonal[j], s.right[j] = d, 0
		if w != 0 {
			s.right[j] = w / d * w * (p.x[j] - s.mean[j])
		}
	}
	t.fold(p.jacobian, p.residuals, s.diagonal, s.right)
}

// damp makes the triangle of the linear model here, damped by λ.
func (s *search) damp(lambda float64) {
	if s.here.damping > 0 { // a singular one has no triangle without damping to build upon
		s.fold(s.damped, s.here, lambda)
		return
	}
	for j := range s.diagonal {
		s.diagonal[j] = math.Sqrt(lambda) * s.scaleOf(j)
	}
	s.damped.refold(s.here.linear, s.diagonal)
}

// promise is by how much the linear model lowers the sum of squares with the step
// δ that a triangle damped by λ gave: ‖J·δ‖² + 2·λ·‖D·δ‖² (Moré 1978, eq. 4.4), written so
// that nothing cancels.
func (s *search) promise(t *triangle, step []float64, damping float64) float64 {
	promise := t.fall()
	if damping > 0 {
		l := s.length(step)
		promise += damping * l * l
	}
	return promise
}

// scaleOf is the length of one unit of parameter j: the greatest that its column has
// had, or 1 where nothing depends on it.
func (s *search) scaleOf(j int) float64 {
	if s.scale[j] == 0 {
		return 1
	}
	return s.scale[j]
}

// length is the scaled length of a step.
func (s *search) length(step []float64) float64 {
	for j, d := range step {
		s.scaled[j] = s.scaleOf(j) * d
	}
	return norm(s.scaled)
}

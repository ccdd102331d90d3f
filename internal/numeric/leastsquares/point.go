package leastsquares

import "math"

// point is one vector of parameters with the residuals and the linear model there.
type point struct {
	x, residuals []float64
	jacobian     *sparse
	sum          float64 // of squares, priors included

	// Set by linearise.
	linear    *triangle // nil before the first; of the Jacobian and the priors; damped by rankDamping where it is singular
	update    []float64 // the full update, to the minimum of the linear model
	reduction float64   // predicted reduction of the sum of squares by that update
	damping   float64   // 0 unless singular
}

// newPoint allocates a point for n residuals, k parameters and as many entries of the Jacobian.
func newPoint(n, k, entries int) *point {
	return &point{x: make([]float64, k), residuals: make([]float64, n), jacobian: newSparse(n, entries), update: make([]float64, k)}
}

// evaluate evaluates the model at p.x. The sum is not finite where any residual or
// derivative is not.
func (s *search) evaluate(p *point) error {
	s.evaluations++
	s.last = p
	if err := s.model.evaluate(p.x, p.residuals, p.jacobian); err != nil {
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
	for _, d := range p.jacobian.value {
		zero += 0 * d
	}
	p.sum += zero // NaN where any derivative is not finite
	return nil
}

// rankDamping is the damping λ of a linear model that leaves some direction undetermined.
// It does not slow convergence in the other directions, and is large compared with the
// rounding error of a zero.
const rankDamping = 1e-14

// linearise computes the full update and its predicted reduction at an evaluated point.
func (s *search) linearise(p *point) {
	if p.linear == nil {
		p.linear = newTriangle(len(p.residuals), len(p.x))
	}
	s.fold(p.linear, p, 0)
	p.damping = 0
	singular := false
	for j, length := range p.linear.columnLengths() {
		s.scale[j] = math.Max(s.scale[j], length)
		singular = singular || p.linear.sine(j, length) <= p.linear.rankTolerance()
	}
	if singular {
		p.damping = rankDamping
		s.fold(p.linear, p, rankDamping)
	}
	p.linear.solve(p.update)
	p.reduction = s.predictedReduction(p.linear, p.update, p.damping)
}

// fold computes the triangle of the linear model at a point. It begins with the diagonal
// of the priors and of the damping, λ times the squared scale.
func (s *search) fold(t *triangle, p *point, damping float64) {
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

// damp computes the triangle of the linear model at the current point, damped by λ.
func (s *search) damp(lambda float64) {
	if s.damped == nil {
		n, k := s.model.model.Size()
		s.damped = newTriangle(max(n, k), k)
	}
	if s.current.damping > 0 { // a singular model has no undamped triangle to start from
		s.fold(s.damped, s.current, lambda)
		return
	}
	for j := range s.diagonal {
		s.diagonal[j] = math.Sqrt(lambda) * s.scaleOf(j)
	}
	s.damped.refold(s.current.linear, s.diagonal)
}

// predictedReduction returns by how much the linear model lowers the sum of squares with
// the update δ of a triangle damped by λ: ‖J·δ‖² + 2·λ·‖D·δ‖² (Moré 1978, eq. 4.4), in a
// form without cancellation.
func (s *search) predictedReduction(t *triangle, update []float64, damping float64) float64 {
	reduction := t.reduction()
	if damping > 0 {
		l := s.length(update)
		reduction += damping * l * l
	}
	return reduction
}

// scaleOf returns the scaled length of one unit of parameter j: the greatest length that
// its Jacobian column has had, or 1 where no residual depends on it.
func (s *search) scaleOf(j int) float64 {
	if s.scale[j] == 0 {
		return 1
	}
	return s.scale[j]
}

// length returns the scaled length of an update.
func (s *search) length(update []float64) float64 {
	for j, d := range update {
		s.scaled[j] = s.scaleOf(j) * d
	}
	return norm(s.scaled)
}

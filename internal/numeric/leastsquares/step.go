package leastsquares

import "math"

// choose writes the step to try: the full one where it stays in the region of trust,
// else the damped one that ends at its edge, to a tenth. It returns the fall of the
// sum of squares that the linear model promises, and half its slope along the step.
func (s *search) choose() (promised, slope float64) {
	here := s.here
	full := s.length(here.step)
	if full <= 1.1*s.radius {
		s.damping = 0
		copy(s.delta, here.step)
		return here.promise, here.linear.fall()
	}
	steepest := here.linear.gradient(s.scaled)
	for j := range steepest {
		steepest[j] /= s.scaleOf(j)
	}
	most := norm(steepest)
	low, high := here.damping, most/s.radius
	if here.damping == 0 {
		low = s.newton(here.linear, here.step, full)
	}
	lambda := math.Min(math.Max(s.damping, low), high)
	if lambda == 0 {
		lambda = most / full
	}
	for range 10 { // two or three do
		s.damp(lambda)
		s.damped.solve(s.delta)
		length := s.length(s.delta)
		s.damping = lambda
		if math.Abs(length-s.radius) <= 0.1*s.radius {
			break
		}
		correction := s.newton(s.damped, s.delta, length)
		if length > s.radius {
			low = math.Max(low, lambda)
		} else {
			high = math.Min(high, lambda)
		}
		lambda = math.Max(low, lambda+correction)
		if lambda > high {
			lambda = math.Sqrt(low * high)
		}
	}
	return s.promise(s.damped, s.delta, s.damping), s.damped.fall()
}

// newton is Hebden's and Moré's correction of λ towards the edge of the region of
// trust, for a step of the given scaled length (Moré 1978, section 5).
func (s *search) newton(t *triangle, step []float64, length float64) float64 {
	for j, d := range step {
		s.scaled[j] = s.scaleOf(j) * s.scaleOf(j) * d / length
	}
	t.solveTransposed(s.scaled)
	steep := norm(s.scaled)
	return (length - s.radius) / s.radius / steep / steep
}

package leastsquares

import "math"

// chooseUpdate writes the update to try: the full one where it stays in the trust region,
// otherwise the damped one whose length is the radius within a tenth. It returns the predicted
// reduction of the sum of squares, and half the sum's slope along the update.
func (s *search) chooseUpdate() (predicted, slope float64) {
	current := s.current
	full := s.length(current.update)
	if full <= 1.1*s.radius {
		s.damping = 0
		copy(s.delta, current.update)
		return current.reduction, current.linear.reduction()
	}
	steepest := current.linear.gradient(s.scaled)
	for j := range steepest {
		steepest[j] /= s.scaleOf(j)
	}
	most := norm(steepest)
	low, high := current.damping, most/s.radius
	if current.damping == 0 {
		low = s.dampingCorrection(current.linear, current.update, full)
	}
	lambda := math.Min(math.Max(s.damping, low), high)
	if lambda == 0 {
		lambda = most / full
	}
	for range 10 { // two or three are enough
		s.damp(lambda)
		s.damped.solve(s.delta)
		length := s.length(s.delta)
		s.damping = lambda
		if math.Abs(length-s.radius) <= 0.1*s.radius {
			break
		}
		correction := s.dampingCorrection(s.damped, s.delta, length)
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
	return s.predictedReduction(s.damped, s.delta, s.damping), s.damped.reduction()
}

// dampingCorrection returns Hebden's and Moré's correction of λ towards an update whose
// length is the trust region's radius, for one of the given scaled length (Moré 1978, section 5).
func (s *search) dampingCorrection(t *triangle, update []float64, length float64) float64 {
	for j, d := range update {
		s.scaled[j] = s.scaleOf(j) * s.scaleOf(j) * d / length
	}
	t.solveTransposed(s.scaled)
	steep := norm(s.scaled)
	return (length - s.radius) / s.radius / steep / steep
}

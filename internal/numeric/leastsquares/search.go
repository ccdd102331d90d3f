package leastsquares

import "math"

// search is the state of one fit. All memory is made before its first step.
type search struct {
	model        Model
	weight, mean []float64 // of the priors; a weight is 1/deviation
	most         int
	tolerance    float64
	slack        float64

	here, there *place    // where the fit is, and the place tried
	last        *place    // evaluated last
	scale       []float64 // the greatest length that each column has had
	radius      float64   // of the region of trust, in scaled length
	damping     float64   // λ of the last step
	damped      *triangle
	delta       []float64 // the step to try

	diagonal, right, scaled []float64 // scratch
	iterations, evaluations int
	rate                    float64            // length of a full step over that of the one before
	refused                 int                // in a row
	sums                    [slowSteps]float64 // of squares, before each of the last steps
	stalled                 bool               // no step is good, and the predicted reduction is negligible
	crept                   bool               // steps are good, but the predicted reduction is negligible
}

func newSearch(m Model, prior *Prior, opt Options) *search {
	n, k := m.Size()
	s := &search{model: m, most: opt.MaxIterations, tolerance: opt.Tolerance, slack: opt.Slack,
		here: newPlace(n, k), there: newPlace(n, k), damped: newTriangle(max(n, k), k)}
	for _, v := range []*[]float64{&s.weight, &s.mean, &s.scale, &s.delta, &s.diagonal, &s.right, &s.scaled} {
		*v = make([]float64, k)
	}
	if prior != nil {
		copy(s.mean, prior.Mean)
		for j, d := range prior.Deviation {
			s.weight[j] = 1 / d
		}
	}
	if s.most == 0 {
		s.most = 200
	}
	if s.tolerance == 0 {
		s.tolerance = 1e-16
	}
	return s
}

// begin sets the radius of the trust region: ten times the length of the start, within Moré's 0.1
// to 100, or no limit from a start at zero.
func (s *search) begin() {
	s.linearise(s.here)
	s.radius = 10 * s.length(s.here.x)
	if s.radius == 0 {
		s.radius = math.Inf(1)
	}
}

// arrived reports whether the predicted reduction of all further steps is within the tolerance.
// Where each full step is a constant part of the one before, they add up to a geometric series.
func (s *search) arrived() bool {
	left := 1 - s.rate
	return s.here.promise <= left*left*s.tolerance*s.here.sum
}

const (
	// A step that gains less than this part of the predicted reduction is refused (Moré 1978, section 7).
	worthwhile = 1e-4
	// Where a full step promises less than this part of the sum of squares, rounding of
	// the sums may hide the gain: a step is then good if it leaves less to promise.
	roundingPart = 1e-7
	// Where a step promises less than this and is not good, rounding hides any gain. The second is
	// for fits without any residual, in squared standard uncertainties.
	hidden, none = 1e-12, 1e-20
	// So many refusals in a row shorten a step ten million times or more.
	hopeless = 24
	// Where no step is good because derivatives are not quite those of the residuals,
	// this much may be left to win: a step of a tenth of the parameters' deviations, all
	// together, if those are scaled by the residual deviation.
	slight = 0.01
	// A fit creeps where so many steps gain less than Slack together, and the next promises less than
	// this many times it: a curved valley keeps less than its derivatives promise. See Options.
	slowSteps   = 4
	slowPromise = 4.0
)

// slow reports whether the last steps gained so little that the fit may end, see
// Options.
func (s *search) slow() bool {
	at := &s.sums[s.iterations%slowSteps]
	gained := *at - s.here.sum
	*at = s.here.sum
	if s.iterations < slowSteps {
		return false
	}
	s.crept = s.slack > 0 && gained <= s.slack && s.here.promise <= slowPromise*s.slack
	return s.crept
}

// advance tries one step, and makes it if it is good. It returns false where no step
// of any length is good any more.
func (s *search) advance() bool {
	here, there := s.here, s.there
	promised, slope := s.choose()
	length := s.length(s.delta)
	if s.iterations == 1 {
		s.radius = math.Min(s.radius, length)
	}
	for j, d := range s.delta {
		there.x[j] = here.x[j] + d
	}
	fine := s.visit(there) == nil && finite(there.sum)
	gained := here.sum - there.sum
	if fine && s.better(promised, gained) {
		if s.atRounding() {
			s.radius = math.Max(s.radius, 2*length)
		} else {
			s.adapt(gained/promised, gained, slope, length)
		}
		s.rate = 0
		if s.damping == 0 && there.promise < here.promise {
			s.rate = math.Sqrt(there.promise / here.promise)
		}
		s.here, s.there = there, here
		s.refused = 0
		return true
	}
	if !fine {
		gained = math.Inf(-1)
	}
	s.adapt(-1, gained, slope, length)
	s.refused++
	n := float64(len(here.residuals))
	if s.refused == hopeless || fine && (promised <= hidden*here.sum || here.promise <= none*(n+1)) {
		s.stalled = here.promise <= none*(n+1) || here.promise*n <= slight*here.sum
		return false
	}
	return true
}

// atRounding reports whether the minimum is so near that rounding decides which step is better.
func (s *search) atRounding() bool { return s.here.promise <= roundingPart*s.here.sum }

// better reports whether the place tried is better, and computes the full step from there if so.
func (s *search) better(promised, gained float64) bool {
	here, there := s.here, s.there
	if !s.atRounding() {
		if !(gained > worthwhile*promised) {
			return false
		}
		s.linearise(there)
		return true
	}
	if math.Abs(gained) <= roundingPart*here.sum {
		s.linearise(there)
		return there.promise < here.promise
	}
	return false
}

// adapt widens or narrows the region of trust after a step whose gain was ratio
// times its promise (Moré 1978, section 4). A narrower one is guessed from the
// parabola through the sum here, its slope and the sum there.
func (s *search) adapt(ratio, gained, slope, length float64) {
	switch {
	case ratio <= 0.25:
		t := 0.5
		if gained < 0 {
			t = math.Max(0.1, math.Min(0.5, slope/(2*slope-gained)))
		}
		s.radius = t * math.Min(s.radius, 10*length)
		s.damping /= t
	case s.damping == 0 || ratio >= 0.75:
		s.radius = 2 * length
		s.damping /= 2
	}
}

// finish computes the covariance. A model that remembers where it was is brought
// back to X where a step from there was refused.
func (s *search) finish() (*Fit, error) {
	converged := s.arrived() || s.stalled || s.crept
	if s.last != s.here {
		if err := s.visit(s.here); err != nil {
			return nil, err
		}
	}
	f := &Fit{X: s.here.x, Residuals: s.here.residuals, Jacobian: s.here.jacobian, SumSquares: s.here.sum,
		Converged: converged, Iterations: s.iterations, Evaluations: s.evaluations}
	if s.here.damping > 0 {
		s.fold(s.here.linear, s.here, 0)
	}
	f.Covariance = s.here.linear.covariance()
	f.Singular = f.Covariance == nil
	return f, nil
}

package leastsquares

import "math"

// search is the state of one fit. The memory of a triangle is allocated when it is first needed.
type search struct {
	model         *ordered
	weight, mean  []float64 // of the priors; a weight is 1/(standard deviation)
	maxIterations int
	tolerance     float64
	slowProgress  float64
	noCovariance  bool

	current, trial *point    // the best point so far, and the one tried
	last           *point    // the point evaluated last
	scale          []float64 // by parameter: the greatest length that its Jacobian column has had
	radius         float64   // of the trust region, in scaled length
	damping        float64   // λ of the last update
	damped         *triangle // nil before the first damped update
	delta          []float64 // δ, the update to try

	diagonal, right, scaled []float64 // scratch
	iterations, evaluations int
	rate                    float64              // length of a full update over that of the one before
	rejected                int                  // updates rejected in a row
	sums                    [slowUpdates]float64 // of squares, before each of the last updates
	stalled                 bool                 // no update lowers the sum, and the predicted reduction is negligible
	tooSlow                 bool                 // updates lower the sum, but by no more than SlowProgress
}

func newSearch(m *ordered, prior *Prior, opt Options) *search {
	n, k := m.model.Size()
	s := &search{model: m, maxIterations: opt.MaxIterations, tolerance: opt.Tolerance, slowProgress: opt.SlowProgress, noCovariance: opt.NoCovariance,
		current: newPoint(n, k, m.entries), trial: newPoint(n, k, m.entries)}
	for _, v := range []*[]float64{&s.weight, &s.mean, &s.scale, &s.delta, &s.diagonal, &s.right, &s.scaled} {
		*v = make([]float64, k)
	}
	if prior != nil {
		copy(s.mean, prior.Mean)
		for j, d := range prior.Deviation {
			s.weight[j] = 1 / d
		}
	}
	if s.maxIterations == 0 {
		s.maxIterations = 200
	}
	if s.tolerance == 0 {
		s.tolerance = 1e-16
	}
	return s
}

// begin sets the radius of the trust region: ten times the length of the start, within Moré's 0.1
// to 100, or no limit from a start at zero.
func (s *search) begin() {
	s.linearise(s.current)
	s.radius = 10 * s.length(s.current.x)
	if s.radius == 0 {
		s.radius = math.Inf(1)
	}
}

// converged reports whether the predicted reduction of all further updates is within the
// tolerance. Each full update is taken as a constant part of the one before, so their sum is a
// geometric series.
func (s *search) converged() bool {
	left := 1 - s.rate
	return s.current.reduction <= left*left*s.tolerance*s.current.sum
}

const (
	// minGainPart: an update that lowers the sum by less than this part of the predicted reduction
	// is rejected (Moré 1978, section 7).
	minGainPart = 1e-4
	// roundingPart: where the predicted reduction is below this part of the sum of squares, rounding
	// of the sums may hide it. An update is then accepted if it lowers the predicted reduction.
	roundingPart = 1e-7
	// roundingReduction, as a part of the sum of squares, and zeroReduction, in squared standard
	// uncertainties a residual: a rejected update with a smaller predicted reduction ends the fit,
	// because rounding hides any gain. The second is for fits with residuals of zero.
	roundingReduction, zeroReduction = 1e-12, 1e-20
	// maxRejections is the number of rejected updates in a row that ends the fit: the last of them is
	// shorter than the first by a factor of ten million or more.
	maxRejections = 24
	// maxStalledPart is the predicted reduction, as a part of the mean squared residual, up to which
	// a fit that no update improves has converged: a change of a tenth of the parameters' standard
	// deviations, scaled by the residual standard deviation. Inexact derivatives cause such fits.
	maxStalledPart = 0.01
	// slowUpdates and slowReduction are the number of updates, and the predicted reduction in units
	// of SlowProgress, of Options.SlowProgress. In a curved valley the real reduction is below the predicted one.
	slowUpdates   = 4
	slowReduction = 4.0
)

// slow reports whether the last updates lowered the sum so little that the fit may end, see
// Options.SlowProgress.
func (s *search) slow() bool {
	at := &s.sums[s.iterations%slowUpdates]
	gained := *at - s.current.sum
	*at = s.current.sum
	if s.iterations < slowUpdates {
		return false
	}
	s.tooSlow = s.slowProgress > 0 && gained <= s.slowProgress && s.current.reduction <= slowReduction*s.slowProgress
	return s.tooSlow
}

// advance tries one update and keeps it if it is accepted. It returns false where no update
// of any length would be.
func (s *search) advance() bool {
	current, trial := s.current, s.trial
	predicted, slope := s.chooseUpdate()
	length := s.length(s.delta)
	if s.iterations == 1 {
		s.radius = math.Min(s.radius, length)
	}
	for j, d := range s.delta {
		trial.x[j] = current.x[j] + d
	}
	usable := s.evaluate(trial) == nil && finite(trial.sum)
	gained := current.sum - trial.sum
	if usable && s.better(predicted, gained) {
		if s.atRounding() {
			s.radius = math.Max(s.radius, 2*length)
		} else {
			s.adapt(gained/predicted, gained, slope, length)
		}
		s.rate = 0
		if s.damping == 0 && trial.reduction < current.reduction {
			s.rate = math.Sqrt(trial.reduction / current.reduction)
		}
		s.current, s.trial = trial, current
		s.rejected = 0
		return true
	}
	if !usable {
		gained = math.Inf(-1)
	}
	s.adapt(-1, gained, slope, length)
	s.rejected++
	n := float64(len(current.residuals))
	if s.rejected == maxRejections || usable && (predicted <= roundingReduction*current.sum || current.reduction <= zeroReduction*(n+1)) {
		s.stalled = current.reduction <= zeroReduction*(n+1) || current.reduction*n <= maxStalledPart*current.sum
		return false
	}
	return true
}

// atRounding reports whether the minimum is so near that rounding decides which sum is lower.
func (s *search) atRounding() bool { return s.current.reduction <= roundingPart*s.current.sum }

// better reports whether the trial point is accepted, and linearises the model there if so.
func (s *search) better(predicted, gained float64) bool {
	current, trial := s.current, s.trial
	if !s.atRounding() {
		if !(gained > minGainPart*predicted) {
			return false
		}
		s.linearise(trial)
		return true
	}
	if math.Abs(gained) <= roundingPart*current.sum {
		s.linearise(trial)
		return trial.reduction < current.reduction
	}
	return false
}

// adapt widens or narrows the trust region after an update whose reduction was ratio times
// the predicted one (Moré 1978, section 4). A narrower radius follows from the parabola through
// the current sum, its slope and the sum at the trial point.
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

// finish computes the covariance, unless it is not wanted. Where the last update was rejected it evaluates the model
// once more, at X, for models that keep the state of their last evaluation.
func (s *search) finish() (*Fit, error) {
	converged := s.converged() || s.stalled || s.tooSlow
	if s.last != s.current {
		if err := s.evaluate(s.current); err != nil {
			return nil, err
		}
	}
	f := &Fit{X: s.current.x, Residuals: s.current.residuals, SumSquares: s.current.sum,
		Converged: converged, Iterations: s.iterations, Evaluations: s.evaluations}
	if s.noCovariance {
		return f, nil
	}
	if s.current.damping > 0 {
		s.fold(s.current.linear, s.current, 0)
	}
	f.Covariance = s.current.linear.covariance()
	f.Singular = f.Covariance == nil
	return f, nil
}

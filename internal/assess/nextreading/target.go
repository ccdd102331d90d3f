package nextreading

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/verdict"
)

// Target is an element that is not settled, and what would settle it.
type Target struct {
	Element         int // index into Estimate.Elements
	Name            string
	Limit           float64 // on the element's own scale, as is
	HealthyValue    float64 // its value without a fault
	Rule            verdict.Rule
	DeviationSpread float64 // of the deviation, see verdict.Belief
	// Deviation is that towards the limit as Estimate.ProfileBelief has it; 0 where it was not computed.
	Deviation float64
}

const (
	// settled is the least probability of a verdict with which a reading counts as settling.
	settled = 0.9
	// soundPart is the prior probability that an unknown element is sound: distributed about its
	// stated value with a standard deviation of a quarter of the margin to the limit. Otherwise it
	// is above the limit, at any ratio up to worstTimes with equal probability (common practice, no
	// source).
	soundPart  = 0.9
	soundShare = 0.25
	worstTimes = 20.0
	// grid is the number of true values over which the probability is summed.
	grid = 160
)

// SettlingDeviation is the greatest standard deviation that settles the target with high
// probability, given a prior mean and standard deviation (+Inf: none). It is 0 if no deviation
// does.
func (t Target) SettlingDeviation(mean, deviation float64) float64 {
	if !(t.Limit > 0) {
		return 0
	}
	truths, weights := t.possibleValues(mean, deviation)
	return t.largestSettlingDeviation(mean, deviation, truths, weights)
}

// SettlingDeviationAt is SettlingDeviation for a given true value without a prior.
func (t Target) SettlingDeviationAt(truth float64) float64 {
	if !(t.Limit > 0) {
		return 0
	}
	return t.largestSettlingDeviation(truth, math.Inf(1), []float64{truth}, []float64{1})
}

// largestSettlingDeviation is the largest deviation with which a verdict has at least the
// probability settled.
func (t Target) largestSettlingDeviation(mean, deviation float64, truths, weights []float64) float64 {
	low, high := 0.0, math.Min(deviation, 2*t.Limit)
	for range 24 {
		middle := (low + high) / 2
		if t.settlingProbability(mean, deviation, middle, truths, weights) >= settled {
			low = middle
		} else {
			high = middle
		}
	}
	if low < t.Limit*1e-4 {
		return 0
	}
	return low
}

// possibleValues lists possible true values with their probabilities.
func (t Target) possibleValues(mean, deviation float64) (truths, weights []float64) {
	spread := soundShare * math.Abs(t.Limit-t.HealthyValue)
	if spread == 0 {
		spread = soundShare * t.Limit
	}
	known := func(x float64) float64 { // logarithm of the likelihood of the readings
		if math.IsInf(deviation, 1) {
			return 0
		}
		z := (x - mean) / deviation
		return -z * z / 2
	}
	var logs []float64
	most := math.Inf(-1)
	put := func(x, log float64) {
		truths, logs = append(truths, x), append(logs, log+known(x))
		most = math.Max(most, logs[len(logs)-1])
	}
	whole := 0.0 // of the sound part, which ends at zero
	from, to := math.Max(0, t.HealthyValue-4*spread), t.HealthyValue+4*spread
	at := func(k int) float64 { return from + (to-from)*(float64(k)+0.5)/grid }
	for k := range grid {
		z := (at(k) - t.HealthyValue) / spread
		whole += math.Exp(-z * z / 2)
	}
	for k := range grid {
		z := (at(k) - t.HealthyValue) / spread
		put(at(k), math.Log(soundPart/whole)-z*z/2)
	}
	for k := range grid {
		x := t.Limit * math.Pow(worstTimes, (float64(k)+0.5)/grid)
		put(x, math.Log((1-soundPart)/grid))
	}
	sum := 0.0
	for _, l := range logs {
		w := math.Exp(l - most)
		weights = append(weights, w)
		sum += w
	}
	for k := range weights {
		weights[k] /= sum
	}
	return truths, weights
}

// settlingProbability is the probability that the target is settled once its deviation is after.
func (t Target) settlingProbability(mean, deviation, after float64, truths, weights []float64) float64 {
	if !(after > 0) || after >= deviation {
		return 0
	}
	pass := t.meanAtProbability(after, t.Rule.Pass)
	fail := t.meanAtProbability(after, t.Rule.Fail)
	// The new mean combines the old one with that of the readings to come.
	old := 0.0
	if !math.IsInf(deviation, 1) {
		old = after * after / (deviation * deviation)
	}
	spread := after * math.Sqrt(1-old)
	sum := 0.0
	for k, truth := range truths {
		centre := (1-old)*truth + old*mean
		if old == 0 {
			centre = truth
		}
		sum += weights[k] * (distuv.UnitNormal.CDF((pass-centre)/spread) + distuv.UnitNormal.CDF((centre-fail)/spread))
	}
	return sum
}

// meanAtProbability is the mean at which a belief of the given deviation is above the limit with
// probability p.
func (t Target) meanAtProbability(deviation, p float64) float64 {
	low, high := t.Limit-8*deviation, t.Limit+8*deviation
	for range 40 {
		middle := (low + high) / 2
		if (verdict.Belief{Mean: middle, Deviation: deviation, DeviationSpread: t.DeviationSpread}).ProbabilityAbove(t.Limit) < p {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}

// SettlingVariance is the variance at which a target is settled, given a prior mean and standard
// deviation (+Inf: none); 0 if no variance settles it. It is also the greatest variance with which
// the readings count as information about the element.
func (o *Outlook) SettlingVariance(t Target, mean, deviation float64) float64 {
	e, s := o.est, t.deviationRatio(deviation)
	needs := math.Min(o.settlingDeviation(t, mean, deviation*s)/s/e.Inflation, model.MaxRemainingDeviation*math.Sqrt(e.PriorVariance(e.Elements[t.Element].Row)))
	return needs * needs
}

// belief is what is known of an element, as an argument of settlingDeviation.
type belief struct {
	element         int
	mean, deviation float64
}

// settlingDeviation is SettlingDeviation, computed once for each element and belief.
func (o *Outlook) settlingDeviation(t Target, mean, deviation float64) float64 {
	key := belief{t.Element, mean, deviation}
	needs, known := o.settling[key]
	if !known {
		needs = t.SettlingDeviation(mean, deviation)
		o.settling[key] = needs
	}
	return needs
}

// SettlingVarianceAt is SettlingVariance for a given true value without a prior.
func (o *Outlook) SettlingVarianceAt(t Target, truth float64) float64 {
	needs := t.SettlingDeviationAt(truth) / o.est.Inflation
	return needs * needs
}

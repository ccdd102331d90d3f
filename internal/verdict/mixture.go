package verdict

import "math"

// Mixture is the probability distribution of a quantity over several explanations of the readings.
// Their weights add up to one.
type Mixture []Component

// Component is a distribution with the probability of its explanation.
type Component struct {
	Weight float64
	Distribution
}

// Weights returns the probabilities of explanations from their scores: minus twice the logarithms of
// their evidence.
func Weights(scores []float64) []float64 {
	least, sum := math.Inf(1), 0.0
	for _, s := range scores {
		least = math.Min(least, s)
	}
	weights := make([]float64, len(scores))
	for i, s := range scores {
		weights[i] = math.Exp((least - s) / 2)
		sum += weights[i]
	}
	for i := range weights {
		weights[i] /= sum
	}
	return weights
}

// ProbabilityAbove returns the probability that the quantity is above a limit ≥ 0; NaN where one of
// the explanations tells nothing.
func (m Mixture) ProbabilityAbove(limit float64) float64 {
	return m.sum(func(d Distribution) float64 { return d.ProbabilityAbove(limit) })
}

func (m Mixture) sum(probability func(Distribution) float64) (sum float64) {
	for _, c := range m {
		sum += c.Weight * probability(c.Distribution)
	}
	return sum
}

// Interval returns an interval that holds the quantity with at least the given probability, 0 <
// coverage < 1. Half of the rest is the probability of more than its upper end, and half that of less
// than its lower end, as if less than zero were possible.
func (m Mixture) Interval(coverage float64) (low, high float64) {
	if len(m) == 1 {
		return m[0].Interval(coverage)
	}
	rest := (1 - coverage) / 2
	_, high = firstWhere(func(x float64) bool { return m.ProbabilityAbove(x) <= rest })
	low, _ = firstWhere(func(x float64) bool {
		return m.sum(func(d Distribution) float64 { return d.below(x) }) > rest
	})
	return low, high
}

const (
	// firstEnd and lastEnd are the first and the last value tried as an end of an interval; beyond the
	// last one there is none.
	firstEnd, lastEnd = 1e-6, 1e9
	// endAccuracy is the relative accuracy of an end.
	endAccuracy = 1e-5
)

// firstWhere returns two values close to each other: a condition holds from the second on, and at the
// first it does not, or that is 0. Both are +Inf where it holds nowhere.
func firstWhere(holds func(float64) bool) (low, high float64) {
	for high = firstEnd; !holds(high); low, high = high, 2*high {
		if high > lastEnd {
			return math.Inf(1), math.Inf(1)
		}
	}
	for high-low > endAccuracy*math.Max(high, firstEnd) {
		if middle := (low + high) / 2; holds(middle) {
			high = middle
		} else {
			low = middle
		}
	}
	return low, high
}

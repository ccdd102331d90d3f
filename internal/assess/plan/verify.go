package plan

import "math"

// maxPlans is how many plans are made because targets settled by the covariance are not settled
// by the likelihood.
const maxPlans = 4

// chooseVerified returns the cheapest plan in which every target settled by the covariance is also
// settled by the likelihood. These differ for a joint with little current, or one whose rails are
// known only by their expected division: one rail may be at its limit while the readings fit almost as well.
// A target that falls short gets a smaller settling variance; one that still does in the last
// plan counts as unsettled.
func (s *planner) chooseVerified() (chosen []int) {
	for try := range maxPlans {
		chosen = s.choose()
		if s.lowerUnreached(chosen, try == maxPlans-1) {
			break
		}
	}
	return chosen
}

// lowerUnreached lowers the settling variances of targets that fall short by the missing factor, or
// to zero in the last plan. It reports whether no target fell short.
func (s *planner) lowerUnreached(chosen []int, lastTry bool) bool {
	reached := true
	variances := s.variancesAfter(chosen)
	short := make([]float64, len(s.conditions[healthyRun].targets)) // variance over the needed one; above 1 the target falls short
	var towards [2][]float64                                        // deviations in the direction of the limits, by condition and target
	s.forEachCondition(func(n int, v *condition) {
		towards[n] = make([]float64, len(short))
		for k := range short {
			if s.settles(k, variances) { // the plan does not claim the others
				towards[n][k] = math.Sqrt(variances[n][k]) * s.deviationRatio(v, k, chosen)
			}
		}
	})
	for n, v := range s.conditions {
		for k, deviation := range towards[n] {
			short[k] = math.Max(short[k], deviation*deviation/v.neededVariances[k])
		}
	}
	for k := range short {
		if !s.settles(k, variances) || short[k] <= 1 {
			continue
		}
		reached = false
		for n, v := range s.conditions {
			v.settlingVariances[k] = math.Min(v.settlingVariances[k], variances[n][k]) / short[k]
			if lastTry {
				v.settlingVariances[k] = 0
			}
		}
	}
	return reached
}

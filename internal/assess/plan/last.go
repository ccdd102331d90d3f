package plan

import "math"

// tries is how often a plan is made again because targets settled by the covariance are not settled
// by the likelihood.
const tries = 4

// chooseLasting returns the cheapest plan in which every target settled by the covariance is also
// settled by the likelihood. These differ for a joint with little current, or one whose rails are
// known only by their sharing: one rail may be at its limit while the readings fit almost as well.
// A target that falls short gets a smaller goal; one that still does after all tries counts as
// unsettled.
func (s *surveyed) chooseLasting() (chosen []int) {
	for try := range tries {
		chosen = s.choose()
		if s.tighten(chosen, try == tries-1) {
			break
		}
	}
	return chosen
}

// tighten lowers the goals of targets that fall short by the missing factor, or to zero in the last
// try. It reports whether no target fell short.
func (s *surveyed) tighten(chosen []int, lastTry bool) bool {
	lasting := true
	variances := s.everything(chosen)
	short := make([]float64, len(s.views[sound].targets)) // variance over the needed one; above 1 the target falls short
	var looks [2][]float64                                // deviations in the direction of the limits, by view and target
	s.each(func(n int, v *view) {
		looks[n] = make([]float64, len(short))
		for k := range short {
			if s.settles(k, variances) { // the plan does not claim the others
				looks[n][k] = math.Sqrt(variances[n][k]) * s.stretch(v, k, chosen)
			}
		}
	})
	for n, v := range s.views {
		for k, deviation := range looks[n] {
			short[k] = math.Max(short[k], deviation*deviation/v.needs[k])
		}
	}
	for k := range short {
		if !s.settles(k, variances) || short[k] <= 1 {
			continue
		}
		lasting = false
		for n, v := range s.views {
			v.goals[k] = math.Min(v.goals[k], variances[n][k]) / short[k]
			if lastTry {
				v.goals[k] = 0
			}
		}
	}
	return lasting
}

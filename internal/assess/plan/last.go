package plan

import "math"

// tries is how often a plan is made again because some of what it settles by the
// covariance would not last.
const tries = 4

// last finds the cheapest plan of which all that it settles by the covariance is settled
// in the shape of the likelihood too: a joint that little current crosses, or whose
// rails are held together by what is known of their sharing, may have its limit in one
// rail without the readings being much the worse for it. What falls short has to be told
// that much better; what does so to the end counts as open.
func (s *surveyed) last() (chosen []int) {
	for try := range tries {
		chosen = s.choose()
		if s.tighten(chosen, try == tries-1) {
			break
		}
	}
	return chosen
}

// tighten lowers the goals of what falls short by as much as that is, or to nothing where
// this was the last try. It returns whether there was none.
func (s *surveyed) tighten(chosen []int, lastly bool) bool {
	lasting := true
	variances := s.everything(chosen)
	short := make([]float64, len(s.views[sound].targets)) // by how much, in variance
	var looks [2][]float64                                // deviations in the direction of the limits, by view and target
	s.each(func(n int, v *view) {
		looks[n] = make([]float64, len(short))
		for k := range short {
			if s.settles(k, variances) { // nothing else is promised
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
			if lastly {
				v.goals[k] = 0
			}
		}
	}
	return lasting
}

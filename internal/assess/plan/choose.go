package plan

import (
	"math"
	"slices"

	"ohmkeep/internal/assess/nextreading"
)

// The cost of a plan, in readings. A step costs a change at the controller and one more walk along
// the run; each point costs a climb of the ladder (common practice, no source).
const (
	stepCosts  = 8.0
	pointCosts = 3.0
	readCosts  = 1.0
	// settledBonus is the worth of a settled target, in units of a deviation that shrinks by a factor of
	// e.
	settledBonus = 2.0
	// maxStepsTogether is the number of steps that are tried together, besides all of them.
	maxStepsTogether = 2
	// largeCandidateCount is the number of candidates from which the first sufficient set of steps is planned
	// for, not the cheapest one.
	largeCandidateCount = 600
)

// choose returns the readings of the cheapest plan, as indexes of candidates.
func (s *planner) choose() []int {
	var best []int
	cheapest := math.Inf(1)
	for _, steps := range s.stepSets() {
		few := s.filter(func(i int) bool { return slices.Contains(steps, s.step[i]) })
		if !s.setTargetVariances(few) {
			continue
		}
		chosen := s.chooseByGain(few)
		if pruned := s.prune(chosen); s.suffices(pruned) { // false only through rounding
			chosen = pruned
		}
		if cost := s.cost(chosen); cost < cheapest {
			best, cheapest = chosen, cost
		}
		if len(s.readings) > largeCandidateCount {
			break
		}
	}
	return best
}

// stepSets lists sets of steps to plan with: each by itself, two together, all.
func (s *planner) stepSets() (sets [][]int) {
	n := len(s.run.Steps)
	var all []int
	for a := range n {
		sets = append(sets, []int{a})
		all = append(all, a)
	}
	for a := range n {
		for b := range a {
			sets = append(sets, []int{b, a})
		}
	}
	if n > maxStepsTogether {
		sets = append(sets, all)
	}
	return sets
}

// suffices reports whether some candidates together bring every target to its target variance.
func (s *planner) suffices(few []int) bool {
	all := s.variancesAfter(few)
	for n, v := range s.conditions {
		for k, goal := range v.targetVariances {
			if all[n][k] > goal {
				return false
			}
		}
	}
	return true
}

// posteriors are those of both conditions as candidates are taken.
type posteriors [2]*nextreading.Posterior

func (s *planner) newPosteriors(few []int) (x posteriors) {
	s.forEachCondition(func(n int, v *condition) { x[n] = v.outlook.Posterior(v.pick(few), v.elements) })
	return x
}

func (s *planner) reached(x posteriors) bool {
	for n, v := range s.conditions {
		for k, goal := range v.targetVariances {
			if x[n].Variance(k) > goal {
				return false
			}
		}
	}
	return true
}

// chooseByGain takes candidates one by one until every target reaches its target variance. Each time it takes
// the one with the greatest gain for its cost. It returns all candidates where no gain is left.
func (s *planner) chooseByGain(few []int) (chosen []int) {
	x := s.newPosteriors(few)
	taken := make([]bool, len(few))
	steps, points := map[int]bool{}, map[int]bool{}
	for !s.reached(x) {
		best, most := -1, 0.0
		for i, c := range few {
			if taken[i] {
				continue
			}
			cost := readCosts
			if !steps[s.step[c]] {
				cost += stepCosts
			}
			if !points[s.point[c]] {
				cost += pointCosts
			}
			if worth := s.gain(x, i) / cost; worth > most*(1+1e-9) {
				best, most = i, worth
			}
		}
		if best < 0 { // no candidate gains anything alone
			return few
		}
		s.forEachCondition(func(n int, _ *condition) { x[n].Take(best) })
		taken[best] = true
		steps[s.step[few[best]]], points[s.point[few[best]]] = true, true
		chosen = append(chosen, few[best])
	}
	slices.Sort(chosen)
	return chosen
}

// unaffected is the relative reduction of a variance below which a reading counts as gaining
// nothing: most targets are far from it.
const unaffected = 1e-12

// gain is the sum over the targets of the logarithm of the reduction of the deviation by candidate
// i, counted down to the target variance, plus settledBonus for each target that reaches it.
func (s *planner) gain(x posteriors, i int) float64 {
	sum := 0.0
	for n, v := range s.conditions {
		for k, goal := range v.targetVariances {
			before := x[n].Variance(k)
			if before <= goal {
				continue
			}
			after := x[n].After(i, k)
			if after > before*(1-unaffected) {
				continue
			}
			sum += math.Log(before/math.Max(after, goal)) / 2
			if after <= goal {
				sum += settledBonus
			}
		}
	}
	return sum
}

// prune removes whole steps, then points, then single readings, as long as every target stays
// settled.
func (s *planner) prune(chosen []int) []int {
	var x posteriors
	s.forEachCondition(func(n int, c *condition) { x[n] = c.outlook.PosteriorAfter(c.pick(chosen), c.elements) })
	for _, of := range [][]int{s.step, s.point, nil} {
		for g := len(s.readings) - 1; g >= 0; g-- {
			var without []int // places in chosen
			for i, c := range chosen {
				if of == nil && c == g || of != nil && of[c] == g {
					without = append(without, i)
				}
			}
			if len(without) == 0 || len(without) == len(chosen) {
				continue
			}
			var trial posteriors
			s.forEachCondition(func(n int, _ *condition) {
				trial[n] = x[n].Clone()
				for _, i := range without {
					trial[n].Drop(i)
				}
			})
			if !s.reached(trial) {
				continue
			}
			var kept []int // places in chosen
			for i := range chosen {
				if !slices.Contains(without, i) {
					kept = append(kept, i)
				}
			}
			for n := range x {
				x[n] = trial[n].Subset(kept)
			}
			for n, i := range kept {
				kept[n] = chosen[i]
			}
			chosen = kept
		}
	}
	return chosen
}

// cost returns the cost of a plan. Of two plans with equally many readings the one with the larger
// margin is cheaper.
func (s *planner) cost(chosen []int) float64 {
	steps, points := map[int]bool{}, map[int]bool{}
	for _, c := range chosen {
		steps[s.step[c]], points[s.point[c]] = true, true
	}
	tightest := 0.0
	all := s.variancesAfter(chosen)
	for n, v := range s.conditions {
		for k, goal := range v.settlingVariances {
			if s.settles(k, all) {
				tightest = math.Max(tightest, math.Sqrt(all[n][k]/goal))
			}
		}
	}
	return stepCosts*float64(len(steps)) + pointCosts*float64(len(points)) + readCosts*(float64(len(chosen))+tightest)
}

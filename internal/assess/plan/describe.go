package plan

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

// walk sorts the readings in walking order. Each step is set once, and the run is walked along once
// in it: first the supplies and their feeds, then the junctions, then the reels.
func (p *Plan) walk(s *planner, chosen []int) {
	p.Readings = len(chosen)
	points := map[int]bool{}
	for k, step := range s.run.Steps {
		round := Round{Step: step.Name}
		for _, c := range chosen {
			points[s.point[c]] = true
			if s.step[c] == k {
				round.Reads = append(round.Reads, s.readings[c])
			}
		}
		if round.Reads == nil {
			continue
		}
		slices.SortStableFunc(round.Reads, func(a, b assessment.Next) int {
			return Compare(s.run, a, b)
		})
		p.Rounds = append(p.Rounds, round)
	}
	p.Points = len(points)
}

// Compare compares the positions of two readings of a run on the walk, as slices.Compare does.
func Compare(r *run.Run, a, b assessment.Next) int {
	return slices.Compare(walkPosition(r, a), walkPosition(r, b))
}

// walkPosition returns the position of a reading on the walk.
func walkPosition(r *run.Run, n assessment.Next) []int {
	const supplies, clamps, junctions, reels = 0, 1, 2, 3
	if n.Quantity == run.Current {
		return []int{clamps, r.FeedIndex(n.From)}
	}
	at, _ := r.Point(n.From) // the run's own names
	to, _ := r.Point(n.To)
	position := func(at run.Point) []int {
		return []int{[]int{run.AtSupply: supplies, run.AtJunction: junctions, run.AtReel: reels}[at.Kind], at.Index, at.Pixel}
	}
	if at.Place == to.Place {
		return position(at)
	}
	first, other := position(at), position(to) // over a joint, once its first side is reached
	if slices.Compare(other, first) < 0 {
		first = other
	}
	return append(first, 1+int(at.Rail))
}

// describe lists each joint and feed with the result that the plan is expected to give.
func (p *Plan) describe(s *planner, chosen []int) {
	variances := s.variancesAfter(chosen)
	next := 0 // target
	for _, j := range s.run.Joints {
		if j.PlusCut {
			p.Elements = append(p.Elements, Element{Kind: run.KindJoint, Name: j.Name, Limit: math.NaN(), Stated: j.Ohms,
				HalfWidth: math.Inf(1), BestHalfWidth: math.Inf(1),
				Why:      "its plus is parted, so almost no current flows through its minus in any step",
				Remedies: []string{"a milliohm meter across its minus, with the supplies disconnected, or a gentle pull at it"}})
			continue
		}
		p.element(s, next, run.KindJoint, variances)
		next++
	}
	for range s.run.Feeds {
		p.element(s, next, run.KindFeed, variances)
		next++
	}
}

func (p *Plan) element(s *planner, k int, kind run.Kind, variances [2][]float64) {
	v := s.conditions[healthyRun]
	e := &v.est.Elements[v.elements[k]]
	half := func(variance float64) float64 {
		low, high := v.targets[k].HealthyValue, v.targets[k].HealthyValue+verdict.Coverage95*math.Sqrt(variance)
		return e.Ohms(high) - e.Ohms(low)
	}
	x := Element{Kind: kind, Name: v.targets[k].Name, Limit: e.Ohms(v.targets[k].Limit), Stated: e.Ohms(v.targets[k].HealthyValue),
		Settled: s.settles(k, variances), HalfWidth: half(variances[healthyRun][k]), BestHalfWidth: half(v.leastVariances[k])}
	amps, step := v.outlook.MaxAmps(e)
	if x.Amps = amps; step >= 0 {
		x.Step = s.run.Steps[step].Name
	}
	if !x.Settled {
		x.Why = s.reasonUnsettled(k, &x)
	}
	p.Elements = append(p.Elements, x)
}

// reasonUnsettled returns the reason why target k cannot be settled, in words.
func (s *planner) reasonUnsettled(k int, x *Element) string {
	v := s.conditions[healthyRun]
	needs := v.settlingVariances[k]
	switch {
	case x.Stated >= x.Limit:
		return fmt.Sprintf("the file states %s, more than its limit of %s; all readings together would give ±%s", milli(x.Stated), milli(x.Limit), milli(x.BestHalfWidth))
	case x.Amps < 1e-4:
		return "hardly any current flows through it in any step"
	case needs == 0 && v.leastVariances[k] <= v.neededVariances[k]:
		return fmt.Sprintf("near its stated %s it can be measured, but the uncertainty of the currents can hide a rise to the limit in one conductor alone", milli(x.Stated))
	case v.leastVariances[k] <= needs:
		return fmt.Sprintf("it can be shown to be sound, but not to have %s: the current through it is not known well enough", milli(badTimes*x.Limit))
	}
	room := x.Limit - x.Stated
	return fmt.Sprintf("at most %s A flow through it (step %q), so the %s from its stated resistance to its limit cause a drop of %s mV; all readings together would give ±%s, and ±%s is needed",
		twoDigits(x.Amps), x.Step, milli(room), twoDigits(1000*room*x.Amps), milli(x.BestHalfWidth), milli(x.BestHalfWidth*math.Sqrt(needs/v.leastVariances[k])))
}

// twoDigits formats a number with at least two significant digits and without an exponent, such as
// 0.042 and 152.
func twoDigits(x float64) string {
	if math.Abs(x) >= 100 {
		return fmt.Sprintf("%.0f", x)
	}
	return strconv.FormatFloat(roundTo(x, 2), 'f', -1, 64)
}

// roundTo rounds to a number of significant digits.
func roundTo(x float64, digits int) float64 {
	y, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'e', digits-1, 64), 64) // what was just written
	return y
}

func milli(ohms float64) string {
	if math.IsInf(ohms, 1) || ohms > 10 {
		return "nothing"
	}
	if ohms >= 1 {
		return fmt.Sprintf("%.0f mΩ", 1000*ohms)
	}
	return fmt.Sprintf("%.3g mΩ", 1000*ohms)
}

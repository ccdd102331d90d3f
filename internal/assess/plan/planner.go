package plan

import (
	"math"
	"slices"
	"sync"

	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// condition is the run as stated, or with faults, and what readings of it would determine.
type condition struct {
	est               *estimate.Estimate
	outlook           *nextreading.Outlook
	targets           []nextreading.Target
	elements          []int
	candidates        []nextreading.Candidate
	settlingVariances []float64 // by target: variance at which it is settled
	neededVariances   []float64 // by target: the same, in the direction of the limit
	leastVariances    []float64 // by target: variance with everything read
	targetVariances   []float64 // by target: variance that the plan must reach, see setTargetVariances
	windows           []*window
}

// planner holds all readings that could be taken and their expected results in two conditions:
// the run as stated, which has to pass, and a run with bad joints and feeds, which has to fail. An
// uncertain current has little effect on the few millivolts of a sound joint, but a large one on
// those of a bad joint.
type planner struct {
	run        *run.Run
	meters     []int
	conditions [2]*condition     // their candidates are the same
	readings   []assessment.Next // by candidate
	step       []int             // by candidate: of the run
	point      []int             // by candidate: where it is read, numbered
}

// healthyRun and faultyRun are the conditions.
const healthyRun, faultyRun = 0, 1

// badTimes is the resistance of a bad element over its limit.
const badTimes = 2.0

// newPlanner returns the planner for readings with some meters beside temperatures that are read.
func newPlanner(r *run.Run, meters []int, temperatures ...reading.Reading) (*planner, error) {
	s := &planner{run: r, meters: meters}
	one, err := newCondition(r, meters, temperatures)
	if err != nil {
		return nil, err
	}
	worse := clone(r)
	worse.Joints, worse.Feeds = slices.Clone(r.Joints), slices.Clone(r.Feeds)
	for _, t := range one.targets {
		e := &one.est.Elements[t.Element]
		ohms := badTimes * e.Ohms(t.Limit)
		if e.Kind == run.KindJoint {
			worse.Joints[e.Index].Ohms = ohms
		} else {
			worse.Feeds[e.Index].Ohms = ohms
		}
	}
	two, err := newCondition(worse, meters, temperatures)
	if err != nil {
		return nil, err
	}
	for k, t := range one.targets {
		e := &one.est.Elements[t.Element]
		one.settlingVariances = append(one.settlingVariances, one.outlook.SettlingVariance(t, t.HealthyValue, math.Inf(1)))
		two.settlingVariances = append(two.settlingVariances, two.outlook.SettlingVarianceAt(t, e.Scale(badTimes*e.Ohms(t.Limit))))
		two.targets[k] = t
	}
	s.conditions = [2]*condition{one, two}
	s.keepCommonCandidates()
	s.forEachCondition(func(_ int, v *condition) {
		v.neededVariances = slices.Clone(v.settlingVariances)
		v.leastVariances = v.outlook.VariancesAfter(v.candidates, v.elements)
	})
	return s, nil
}

// newCondition returns the readings that could be taken of a run.
func newCondition(r *run.Run, meters []int, temperatures []reading.Reading) (*condition, error) {
	est, targets, err := judge.BeforeReadings(r, temperatures...)
	if err != nil {
		return nil, err
	}
	limits := map[int]float64{}
	for _, t := range targets {
		limits[t.Element] = est.Elements[t.Element].Ohms(t.Limit)
	}
	est = est.DividedAs(limits)
	o, err := nextreading.NewOutlook(est, meters)
	if err != nil {
		return nil, err
	}
	v := &condition{est: est, outlook: o, targets: targets, candidates: o.Candidates()}
	for _, t := range targets {
		v.elements = append(v.elements, t.Element)
	}
	return v, nil
}

// readingKey identifies a reading.
type readingKey struct {
	quantity       run.Quantity
	from, to, step string
	meter          string
}

func keyOf(n assessment.Next) readingKey {
	return readingKey{n.Quantity, n.From, n.To, n.Step, n.Meter}
}

// keepCommonCandidates keeps the candidates of both conditions: with faults a step may have too
// little voltage, and a voltage may exceed the meter's range. It numbers the points where they are
// read.
func (s *planner) keepCommonCandidates() {
	naming := func(v *condition, i int) (assessment.Next, readingKey) {
		n := v.outlook.Describe(&v.candidates[i])
		return n, keyOf(n)
	}
	one, two := s.conditions[healthyRun], s.conditions[faultyRun]
	there := map[readingKey]int{}
	for i := range two.candidates {
		_, name := naming(two, i)
		there[name] = i
	}
	var firsts, seconds []nextreading.Candidate
	numbers := map[[2]string]int{}
	for i := range one.candidates {
		n, name := naming(one, i)
		k, both := there[name]
		if !both {
			continue
		}
		firsts, seconds = append(firsts, one.candidates[i]), append(seconds, two.candidates[k])
		where := [2]string{n.From, n.To}
		if _, seen := numbers[where]; !seen {
			numbers[where] = len(numbers)
		}
		s.readings, s.step, s.point = append(s.readings, n), append(s.step, s.run.StepIndex(n.Step)), append(s.point, numbers[where])
	}
	one.candidates, two.candidates = firsts, seconds
}

// filter lists the candidates for which keep returns true.
func (s *planner) filter(keep func(i int) bool) (list []int) {
	for i := range s.readings {
		if keep(i) {
			list = append(list, i)
		}
	}
	return list
}

// settles reports whether target k is settled, healthy or faulty, at the variances of both conditions.
func (s *planner) settles(k int, variances [2][]float64) bool {
	return variances[healthyRun][k] <= s.conditions[healthyRun].settlingVariances[k] && variances[faultyRun][k] <= s.conditions[faultyRun].settlingVariances[k]
}

// forEachCondition calls visit for both conditions concurrently; they share no data that is written.
func (s *planner) forEachCondition(visit func(n int, v *condition)) {
	var both sync.WaitGroup
	for n, v := range s.conditions {
		both.Go(func() { visit(n, v) })
	}
	both.Wait()
}

// variancesAfter returns the variances in both conditions once some candidates are read.
func (s *planner) variancesAfter(few []int) (variances [2][]float64) {
	s.forEachCondition(func(n int, v *condition) { variances[n] = v.outlook.VariancesAfter(v.pick(few), v.elements) })
	return variances
}

// pick returns candidates by their indexes in the list.
func (v *condition) pick(few []int) []nextreading.Candidate {
	list := make([]nextreading.Candidate, len(few))
	for i, c := range few {
		list[i] = v.candidates[c]
	}
	return list
}

// setTargetVariances sets the variances that a plan of some candidates must reach: the variance that
// settles the target, with a reserve where these candidates leave much less; or, where it is just out
// of reach, a little more than the variance that all candidates together leave, because the reading may
// turn out to be far from the limit. Targets that no candidates can settle get +Inf. It returns false
// where these candidates leave a target unsettled that all candidates would settle.
func (s *planner) setTargetVariances(few []int) bool {
	attempt, spare := attemptRatio*attemptRatio, 1.0
	if len(s.readings) > largeCandidateCount {
		attempt, spare = 1, spareRatio*spareRatio
	}
	all := s.variancesAfter(few)
	best := [2][]float64{s.conditions[healthyRun].leastVariances, s.conditions[faultyRun].leastVariances}
	easy := best
	for n := range easy {
		easy[n] = slices.Clone(easy[n])
		for k := range easy[n] {
			easy[n][k] *= spare
		}
	}
	for n, v := range s.conditions {
		v.targetVariances = make([]float64, len(v.targets))
		for k := range v.targets {
			left := leftRatio * leftRatio * all[n][k]
			within := all[n][k] <= attempt*v.settlingVariances[k]
			switch {
			case s.settles(k, all):
				v.targetVariances[k] = math.Min(v.settlingVariances[k], math.Max(v.settlingVariances[k]/reserve, left))
			case s.settles(k, easy), !within && best[n][k] <= attempt*v.settlingVariances[k]:
				return false
			case within:
				v.targetVariances[k] = math.Max(v.settlingVariances[k], left)
			default:
				v.targetVariances[k] = math.Inf(1)
			}
		}
	}
	return true
}

const (
	// attemptRatio is the greatest ratio of a deviation to the one that settles the target with which
	// a plan still reads it. In large runs it is 1.
	attemptRatio = 2.0
	// leftRatio is the deviation to reach for such a target, and with the reserve at least, as a ratio to
	// the one that all readings leave.
	leftRatio = 1.3
	// reserve is the ratio of the settling variance to the one that a plan reaches where the readings allow
	// it: beside the best explanation, from which the plan is made, the verdict weighs others.
	reserve = 2.0
	// spareRatio is the least margin of the deviation, in large runs, for which a step is added.
	spareRatio = 1.2
)

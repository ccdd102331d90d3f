package plan

import (
	"math"
	"slices"
	"sync"

	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// view is the outlook for readings of a run in one condition.
type view struct {
	est      *estimate.Estimate
	outlook  *nextreading.Outlook
	targets  []nextreading.Target
	elements []int
	list     []nextreading.Candidate
	goals    []float64 // by target: variance at which it is settled
	needs    []float64 // by target: the same, in the direction of the limit
	best     []float64 // by target: variance with everything read
	aims     []float64 // by target: variance that the plan aims at, see aim
	windows  []*window
}

// surveyed is everything that could be read and the expected results, in two views: the run as
// stated, which has to pass, and a run with bad joints and feeds, which has to fail. An uncertain
// current has little effect on the few millivolts of a sound joint, but a large one on those of a
// bad joint.
type surveyed struct {
	run    *run.Run
	meters []int
	views  [2]*view          // their candidates are the same
	names  []assessment.Next // by candidate
	step   []int             // by candidate: of the run
	point  []int             // by candidate: where it is read, numbered
}

// sound and bad are the views.
const sound, bad = 0, 1

// badTimes is the resistance of a bad element over its limit.
const badTimes = 2.0

// survey lists what could be read with some meters.
func survey(r *run.Run, meters []int) (*surveyed, error) {
	s := &surveyed{run: r, meters: meters}
	one, err := look(r, meters)
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
	two, err := look(worse, meters)
	if err != nil {
		return nil, err
	}
	for k, t := range one.targets {
		e := &one.est.Elements[t.Element]
		one.goals = append(one.goals, one.outlook.SettlingVariance(t, t.HealthyValue, math.Inf(1)))
		two.goals = append(two.goals, two.outlook.SettlingVarianceAt(t, e.Scale(badTimes*e.Ohms(t.Limit))))
		two.targets[k] = t
	}
	s.views = [2]*view{one, two}
	s.match()
	s.each(func(_ int, v *view) {
		v.needs = slices.Clone(v.goals)
		v.best = v.outlook.VariancesAfter(v.list, v.elements)
	})
	return s, nil
}

// look lists what could be read of a run.
func look(r *run.Run, meters []int) (*view, error) {
	est, targets, err := judge.BeforeReadings(r)
	if err != nil {
		return nil, err
	}
	o, err := nextreading.NewOutlook(est, meters)
	if err != nil {
		return nil, err
	}
	v := &view{est: est, outlook: o, targets: targets, list: o.Candidates()}
	for _, t := range targets {
		v.elements = append(v.elements, t.Element)
	}
	return v, nil
}

// read identifies a reading.
type read struct {
	quantity       run.Quantity
	from, to, step string
	meter          string
}

func readOf(n assessment.Next) read { return read{n.Quantity, n.From, n.To, n.Step, n.Meter} }

// match keeps the candidates that both views have: in the bad view a step may have too little
// voltage, and a voltage may exceed the meter's range. It numbers the points where they are read.
func (s *surveyed) match() {
	naming := func(v *view, i int) (assessment.Next, read) {
		n := v.outlook.Describe(&v.list[i])
		return n, readOf(n)
	}
	one, two := s.views[sound], s.views[bad]
	there := map[read]int{}
	for i := range two.list {
		_, name := naming(two, i)
		there[name] = i
	}
	var firsts, seconds []nextreading.Candidate
	numbers := map[[2]string]int{}
	for i := range one.list {
		n, name := naming(one, i)
		k, both := there[name]
		if !both {
			continue
		}
		firsts, seconds = append(firsts, one.list[i]), append(seconds, two.list[k])
		where := [2]string{n.From, n.To}
		if _, seen := numbers[where]; !seen {
			numbers[where] = len(numbers)
		}
		s.names, s.step, s.point = append(s.names, n), append(s.step, s.run.StepIndex(n.Step)), append(s.point, numbers[where])
	}
	one.list, two.list = firsts, seconds
}

// where lists the candidates for which keep returns true.
func (s *surveyed) where(keep func(i int) bool) (list []int) {
	for i := range s.names {
		if keep(i) {
			list = append(list, i)
		}
	}
	return list
}

// settles reports whether target k is settled, sound or bad, at the variances of both views.
func (s *surveyed) settles(k int, variances [2][]float64) bool {
	return variances[sound][k] <= s.views[sound].goals[k] && variances[bad][k] <= s.views[bad].goals[k]
}

// each runs do for both views concurrently; they share no data that is written.
func (s *surveyed) each(visit func(n int, v *view)) {
	var both sync.WaitGroup
	for n, v := range s.views {
		both.Go(func() { visit(n, v) })
	}
	both.Wait()
}

// everything returns the variances in both views once some candidates are read.
func (s *surveyed) everything(few []int) (variances [2][]float64) {
	s.each(func(n int, v *view) { variances[n] = v.outlook.VariancesAfter(v.pick(few), v.elements) })
	return variances
}

// pick returns candidates by their indexes in the list.
func (v *view) pick(few []int) []nextreading.Candidate {
	list := make([]nextreading.Candidate, len(few))
	for i, c := range few {
		list[i] = v.list[c]
	}
	return list
}

// aim sets the variances that a plan of some candidates aims at. That is the variance that settles
// the target; or, where it is just out of reach, a little more than the variance that all
// candidates together leave, because the reading may turn out to be far from the limit. Targets
// that no candidates can settle get no aim. It returns false where these candidates leave a target
// unsettled that all candidates would settle.
func (s *surveyed) aim(few []int) bool {
	attempt, spare := attemptRatio*attemptRatio, 1.0
	if len(s.names) > large {
		attempt, spare = 1, spareRatio*spareRatio
	}
	all := s.everything(few)
	best := [2][]float64{s.views[sound].best, s.views[bad].best}
	easy := best
	for n := range easy {
		easy[n] = slices.Clone(easy[n])
		for k := range easy[n] {
			easy[n][k] *= spare
		}
	}
	for n, v := range s.views {
		v.aims = make([]float64, len(v.targets))
		for k := range v.targets {
			within := all[n][k] <= attempt*v.goals[k]
			switch {
			case s.settles(k, all):
				v.aims[k] = v.goals[k]
			case s.settles(k, easy), !within && best[n][k] <= attempt*v.goals[k]:
				return false
			case within:
				v.aims[k] = math.Max(v.goals[k], leftRatio*leftRatio*all[n][k])
			default:
				v.aims[k] = math.Inf(1)
			}
		}
	}
	return true
}

const (
	// attemptRatio is the greatest ratio of a deviation to the one that settles the target with which
	// a plan still reads it. In large runs it is 1.
	attemptRatio = 2.0
	// leftRatio is the aim for such a target, as a ratio to the deviation that all readings leave.
	leftRatio = 1.3
	// spareRatio is the least margin of the deviation, in large runs, for which a step is added.
	spareRatio = 1.2
)

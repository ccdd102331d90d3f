// Package judge turns readings into an assessment: it has a run fitted to its
// readings, holds each resistance against its limit, and says in plain words what
// is wrong, what contradicts the rest and what to read next.
package judge

import (
	"fmt"
	"math"

	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/network/prediction"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

// openAbove is the least resistance, Ω, that an element must have for sure to be
// called open rather than bad, when the readings bound it by nothing above. No
// soldered joint or crimped wire reads so much and still conducts for long (common
// practice, no source).
const openAbove = 0.3

// parted is the resistance, Ω, from which a joint or feed is called open whatever bounds
// it above: at the currents of a strip nothing of it conducts, and what pixels leak at the
// least volts is nobody's business (common practice, no source).
const parted = 10

// mostExcluded is the most, Ω, that any reading can exclude.
const mostExcluded = 1e5

// rejected is the p-value below which nothing is a failure either: resistances that explain
// the readings so badly are none of the run's (common practice, no source).
const rejected = 1e-6

// coverage is that of the intervals.
const coverage = 0.95

// judged is one run under judgement.
type judged struct {
	run     *run.Run
	est     *estimate.Estimate
	out     *assessment.Assessment
	design  []float64 // by feed: A at the design step as the file states it; nil without one
	rule    verdict.Rule
	loop    assessment.Verdict   // of the loop whose rails follow
	doubt   bool                 // the fit does not explain the readings: nothing may pass
	targets []nextreading.Target // what is not settled
	rivals  rivals               // readings of which nobody can say which is wrong
}

// weigh judges a run from its readings.
func weigh(r *run.Run, readings []reading.Reading) (*judged, error) {
	est, err := estimate.Make(r, readings)
	if err != nil {
		return nil, err
	}
	return of(r, est)
}

// Of assesses a run that has been fitted to its readings already.
func FromEstimate(r *run.Run, est *estimate.Estimate) (*assessment.Assessment, error) {
	j, err := of(r, est)
	if err != nil {
		return nil, err
	}
	return j.out, nil
}

// of judges a fitted run, concedes what rival accounts do not confirm, and says what follows.
func of(r *run.Run, est *estimate.Estimate) (*judged, error) {
	j, err := account(r, est)
	if err != nil {
		return nil, err
	}
	for _, rival := range est.Alternatives() {
		other, err := account(r, rival)
		if err != nil {
			return nil, err
		}
		j.concede(other)
	}
	j.out.Next = nextreading.Next(est, j.targets, 3)
	j.find()
	return j, nil
}

// account judges the elements of one account.
func account(r *run.Run, est *estimate.Estimate) (*judged, error) {
	j := &judged{run: r, est: est, out: &assessment.Assessment{
		Run: r, Fit: est.Fit, Readings: est.Readings, Profiles: est.Profiles}}
	if d := r.Limits.DesignStep; d >= 0 {
		p, err := prediction.Make(r, r.Steps[d])
		if err != nil {
			return nil, err
		}
		for _, f := range p.Feeds {
			j.design = append(j.design, math.Abs(f.Amps))
		}
	}
	j.out.Doubt = oddity(est, j.name, func(e *estimate.Element) float64 {
		switch e.Kind {
		case run.KindReel:
			return r.Reels[e.Index].Strip.LoopOhms
		case run.KindFeed:
			return r.Feeds[e.Index].Ohms
		}
		return 0
	}, j.resembles)
	if p := est.Fit.PValue; j.out.Doubt == "" && p < assessment.Unexplained {
		j.out.Doubt = fmt.Sprintf("The readings lie further from what any resistances give than such readings scatter (p = %.1g)", p)
	}
	j.doubt = j.out.Doubtful()
	count := 0
	for i := range est.Elements {
		if est.Elements[i].Rail == run.Loop && !math.IsNaN(j.limit(&est.Elements[i])) {
			count++
		}
	}
	j.rule = verdict.RuleFor(count)
	for i := range est.Elements {
		if t, ok := j.element(i); ok {
			j.targets = append(j.targets, t)
		}
	}
	return j, nil
}

// element judges one element and appends it, unless it is a rail that the readings
// do not tell from the other. It returns a target where a reading could settle it.
func (j *judged) element(i int) (nextreading.Target, bool) {
	e := &j.est.Elements[i]
	cut := e.Kind == run.KindJoint && j.run.Joints[e.Index].PlusCut
	if e.Rail != run.Loop && !e.RailKnown && !cut {
		return nextreading.Target{}, false
	}
	x := assessment.Element{Kind: e.Kind, Name: j.name(e), Rail: e.Rail, Known: e.Known,
		Limit: j.limit(e), Over: math.NaN(), Amps: e.Amps}
	x.Ohms = math.Max(e.Ohms(e.Belief.Mean), 0)
	low, high := e.Belief.Interval(coverage)
	towards := e.Belief
	if !math.IsNaN(x.Limit) && e.Known && (e.Rail == run.Loop || cut || j.loop != assessment.Pass) {
		towards = j.est.BeliefTowards(i, x.Limit, estimate.VerdictSigmas)
		if towards != e.Belief {
			least, most := j.est.BeliefTowards(i, x.Limit, estimate.IntervalSigmas).Interval(coverage)
			middle := math.Max(towards.Mean, 0)
			if e.Scale(x.Limit) < middle {
				if e.Rail == run.Loop || cut {
					high = j.est.IntervalEnd(i, coverage, true)
				}
				low, high = math.Min(least, middle), math.Max(high, middle)
			} else {
				low, high = math.Min(low, middle), math.Max(most, middle)
			}
			x.Ohms = e.Ohms(middle)
		}
	}
	x.Low, x.High = math.Max(e.Ohms(low), 0), e.Ohms(high)
	if e.Open {
		x.Low, x.High = e.LowerBound, math.Inf(1)
	}
	joins := e.Kind == run.KindJoint || e.Kind == run.KindFeed
	if e.Open || e.Known && (math.IsInf(x.High, 1) && x.Low > openAbove || joins && x.Low > parted) {
		x.Ohms, x.High = math.Inf(1), math.Inf(1)
	}
	if joins && e.Known && x.Ohms < parted {
		x.High = math.Min(x.High, parted) // from there on it would be called open
	}
	x.Low = math.Min(x.Low, mostExcluded)
	if !e.Known {
		if as := j.assumed(e); as >= x.Low && as <= x.High {
			x.Ohms = as
		}
	}
	switch {
	case x.Open():
	case e.Kind == run.KindReel:
		x.Watts = x.Amps * x.Amps * x.Ohms * j.run.Reels[e.Index].CopperLength()
	case e.Kind == run.KindSupply:
		x.Watts = x.Amps * x.Amps * x.Ohms
	default:
		x.Watts = e.Watts
	}
	if math.IsNaN(x.Limit) {
		j.out.Elements = append(j.out.Elements, x)
		return nextreading.Target{}, false
	}
	x.Over = towards.Over(e.Scale(x.Limit))
	if joins && e.Known && towards != e.Belief && x.Over > (1-coverage)/2 && x.Over < 0.5 && (e.Rail == run.Loop || cut) {
		// What is so probable beyond the limit is within the interval.
		x.High = math.Max(x.High, math.Min(e.Ohms(j.est.IntervalEnd(i, coverage, true)), parted))
	}
	x.Verdict = j.rule.Judge(x.Over, e.Known)
	if j.wavers(e, &x) {
		x.Verdict = assessment.Unproven
	}
	if joins && x.Verdict == assessment.Unproven && x.Low <= x.Limit && x.Ohms < parted && x.High >= parted {
		// Anything from sound to open: what is assumed says more than a best value would.
		x.Known, x.Ohms, x.High = false, math.Max(j.assumed(e), x.Low), math.Inf(1)
	}
	if e.Kind == run.KindFeed && x.Verdict == assessment.Fail && !x.Open() && e.Rail == run.Loop && (x.Low > j.run.FeedExcess(e.Index) || x.Limit == j.run.FeedExcess(e.Index)) {
		x.Like = j.like(i, x.Ohms)
	}
	j.out.Elements = append(j.out.Elements, x)
	target := j.target(i)
	target.Deviation = towards.Deviation
	return target, x.Verdict == assessment.Unproven && e.Rail == run.Loop && !j.doubt
}

// wavers tells whether a verdict does not hold after all: a pass where the readings
// are not explained or whose interval reaches above the limit, a failure whose interval reaches
// below the limit or whose fit is rejected or found no answer (an open conductor is found by
// comparing sums of squares, which needs no settled fit, only one that explains the readings), and a rail's failure without its loop's, which comes first.
func (j *judged) wavers(e *estimate.Element, x *assessment.Element) bool {
	first := e.Rail == run.Loop || e.Kind == run.KindJoint && j.run.Joints[e.Index].PlusCut
	if first {
		j.loop = x.Verdict
	}
	switch x.Verdict {
	case assessment.Pass:
		return j.doubt || x.High > x.Limit
	case assessment.Fail:
		weak := x.Low <= x.Limit || j.est.Fit.PValue < rejected || !j.est.Fit.Converged && !(x.Open() && j.est.Fit.PValue >= assessment.Unexplained)
		if weak && first {
			j.loop = assessment.Unproven
		}
		return weak || j.loop != assessment.Fail
	}
	return false
}

func (j *judged) name(e *estimate.Element) string {
	switch e.Kind {
	case run.KindJoint:
		return j.run.Joints[e.Index].Name
	case run.KindFeed:
		return j.run.Feeds[e.Index].Name
	case run.KindReel:
		return j.run.Reels[e.Index].Name
	}
	return j.run.Supplies[e.Index].Name
}

// assumed is what the run file says of an element that no reading tells of.
func (j *judged) assumed(e *estimate.Element) float64 {
	part := 1.0
	if e.Rail != run.Loop {
		part = 0.5
	}
	switch e.Kind {
	case run.KindJoint:
		return part * j.run.Joints[e.Index].Ohms
	case run.KindFeed:
		return part * j.run.Feeds[e.Index].Ohms
	case run.KindReel:
		return part * j.run.Reels[e.Index].Strip.LoopOhms
	}
	return j.run.Supplies[e.Index].Ohms
}

// limit is what an element may have, in its own unit; NaN where it has no limit. A
// single conductor has the whole loop's limit: above that it is bad for certain.
func (j *judged) limit(e *estimate.Element) float64 {
	limits := j.run.Limits
	switch e.Kind {
	case run.KindJoint:
		return j.run.Joints[e.Index].Limit
	case run.KindFeed:
		return j.feedLimit(e.Index)
	case run.KindReel:
		if nominal := j.run.Reels[e.Index].Strip.LoopOhms; nominal > 0 {
			return nominal * (1 + limits.ReelExcess)
		}
	}
	return math.NaN()
}

// feedLimit is what a feed may have at the design step's current, if there is one.
func (j *judged) feedLimit(i int) float64 {
	amps := 0.0
	if j.design != nil {
		amps = j.design[i]
	}
	return j.run.FeedLimit(i, amps)
}

// Package judge turns readings into an assessment: it fits a run to its readings, compares each
// resistance with its limit, and writes findings: what is wrong, which readings contradict the
// others and what to read next.
package judge

import (
	"fmt"
	"math"
	"slices"

	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/network/prediction"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

const (
	// minOpenOhms is the greatest resistance, Ω, that a soldered joint or crimped wire has and still
	// conducts for long, and openOhms that above which one carries no useful current (both common
	// practice, no source).
	minOpenOhms = 0.3
	openOhms    = 10
)

// vagueInterval is the ratio of an interval's upper end to the limit, the lower end being below the
// limit, from which the best value carries no information. vagueEnd is the ratio from which the
// upper end itself carries none.
const (
	vagueInterval = 4
	vagueEnd      = 10
)

// maxExcludedOhms is the largest resistance, Ω, that readings can exclude.
const maxExcludedOhms = 1e5

// minPassPValue is the p-value below which the readings fit no resistances at all and nothing
// passes. One healthy run in two hundred comes that low by chance.
const minPassPValue = 0.005

// minFailPValue is the p-value below which nothing fails: the resistances of such a fit are not
// those of the run (common practice, no source).
const minFailPValue = 1e-6

// coverage is the coverage probability of the intervals.
const coverage = 0.95

// judgement is the state of assessing one run.
type judgement struct {
	run          *run.Run
	est          *estimate.Estimate
	out          *assessment.Assessment
	design       []float64 // by feed: A at the design step as stated; nil without a design step
	rule         verdict.Rule
	loop         assessment.Element            // whose rails follow
	explanations []*estimate.Estimate          // of the readings; the first is the best
	weights      []float64                     // by explanation: its probability
	mixtures     []verdict.Mixture             // by element: its distribution; nil of rails
	targets      []nextreading.Target          // elements without a verdict
	withheld     map[int]string                // by element: why it does not fail although its value would
	again        []assessment.Next             // readings to take again
	alternatives [differencesCount]alternative // by difference: how other explanations differ
}

// judgeReadings fits a run to its readings and judges it.
func judgeReadings(r *run.Run, readings []reading.Reading) (*judgement, error) {
	est, err := estimate.Make(r, readings)
	if err != nil {
		return nil, err
	}
	return judgeEstimate(r, est)
}

// FromEstimate assesses a run that has already been fitted to its readings.
func FromEstimate(r *run.Run, est *estimate.Estimate) (*assessment.Assessment, error) {
	j, err := judgeEstimate(r, est)
	if err != nil {
		return nil, err
	}
	return j.out, nil
}

// judgeEstimate judges a fitted run, and adds the next readings and the findings.
func judgeEstimate(r *run.Run, est *estimate.Estimate) (*judgement, error) {
	j, err := judgeVerdicts(r, est)
	if err != nil {
		return nil, err
	}
	j.out.Next = append(j.again, nextreading.Next(est, j.targets, 3)...)
	j.addFindings()
	return j, nil
}

// judgeVerdicts judges a fitted run.
func judgeVerdicts(r *run.Run, est *estimate.Estimate) (*judgement, error) {
	j, err := judgeElements(r, est)
	if err != nil {
		return nil, err
	}
	j.noteAlternatives()
	j.withdrawBesideImpossible()
	j.out.Verdict = gravest(j.out.Elements)
	return j, nil
}

// Verdicts judges a run that has already been fitted to its readings, without what takes longest:
// the next readings, and the findings but those on mistakes in reading. It returns the targets that
// are not settled.
func Verdicts(r *run.Run, est *estimate.Estimate) (*assessment.Assessment, []nextreading.Target, error) {
	j, err := judgeVerdicts(r, est)
	if err != nil {
		return nil, nil, err
	}
	j.reportMistakes()
	j.noteSuspects()
	return j.out, j.targets, nil
}

// gravest returns the gravest verdict of elements: Fail, then Unproven, then Pass.
func gravest(elements []assessment.Element) assessment.Verdict {
	verdict := assessment.Pass
	for _, e := range elements {
		switch e.Verdict {
		case assessment.Fail:
			return assessment.Fail
		case assessment.Unproven:
			verdict = assessment.Unproven
		}
	}
	return verdict
}

// used reports whether a reading took part in the fit.
func used(x assessment.Reading) bool { return x.Used }

// judgeElements judges the elements of one estimate.
func judgeElements(r *run.Run, est *estimate.Estimate) (*judgement, error) {
	j := &judgement{run: r, est: est, explanations: append([]*estimate.Estimate{est}, est.Alternatives()...), out: &assessment.Assessment{
		Run: r, Fit: est.Fit, Readings: est.Readings, Profiles: est.Profiles, Unread: !slices.ContainsFunc(est.Readings, used)}}
	var scores []float64
	for _, x := range j.explanations {
		scores = append(scores, x.Score)
	}
	j.weights = verdict.Weights(scores)
	if d := r.Limits.DesignStep; d >= 0 {
		p, err := prediction.Make(r, r.Steps[d])
		if err != nil {
			return nil, err
		}
		for _, f := range p.Feeds {
			j.design = append(j.design, math.Abs(f.Amps))
		}
	}
	j.out.Doubt = doubtReason(est, j.name, func(e *estimate.Element) float64 {
		switch e.Kind {
		case run.KindReel:
			return r.Reels[e.Index].Strip.LoopOhms
		case run.KindFeed:
			return r.Feeds[e.Index].Ohms
		}
		return 0
	}, j.likelyMistake)
	if p := est.Fit.PValue; j.out.Doubt == "" && p < minPassPValue {
		j.out.Doubt = fmt.Sprintf("No resistances explain the readings within the errors of the meters (p = %.1g)", p)
	}
	j.out.Doubtful = doubtful(j.out)
	count := 0
	for i := range est.Elements {
		if est.Elements[i].Rail == run.Loop && !math.IsNaN(j.limit(&est.Elements[i])) {
			count++
		}
	}
	j.rule = verdict.RuleFor(count)
	j.mixtures = j.distributions()
	for i, m := range j.mixtures {
		if t, ok := j.element(i, m); ok {
			j.targets = append(j.targets, t)
		}
	}
	return j, nil
}

// element judges one element and appends it, unless it is one rail and the readings do not separate
// the rails. m is the distribution of an element that is judged before its rails. It returns a target
// where further readings could decide it.
func (j *judgement) element(i int, m verdict.Mixture) (nextreading.Target, bool) {
	e := &j.est.Elements[i]
	cut := e.Kind == run.KindJoint && j.run.Joints[e.Index].PlusCut
	if e.Rail != run.Loop && !e.RailKnown && !cut {
		return nextreading.Target{}, false
	}
	x := assessment.Element{Kind: e.Kind, Name: j.name(e), Rail: e.Rail, Known: e.Known,
		Limit: j.limit(e), ProbabilityOverLimit: math.NaN(), Amps: e.Amps}
	if m == nil {
		m = j.distribution(i, !math.IsNaN(x.Limit) && j.loop.Verdict != assessment.Pass)
	}
	j.setResistance(e, &x, m)
	x.Watts = j.heat(e, &x)
	if math.IsNaN(x.Limit) {
		j.out.Elements = append(j.out.Elements, x)
		return nextreading.Target{}, false
	}
	x.ProbabilityOverLimit = m.ProbabilityAbove(e.Scale(x.Limit))
	if !j.judgedFirst(e) { // its loop has at least as much
		x.ProbabilityOverLimit = math.Min(x.ProbabilityOverLimit, j.loop.ProbabilityOverLimit)
	}
	x.Verdict = j.verdictOf(x.ProbabilityOverLimit, e.Known)
	if j.judgedFirst(e) {
		j.loop = x
	}
	jointOrFeed := e.Kind == run.KindJoint || e.Kind == run.KindFeed
	if jointOrFeed && x.Verdict == assessment.Unproven && x.Low <= x.Limit && x.Ohms < openOhms && x.High >= math.Min(vagueInterval*x.Limit, openOhms) {
		// Anything from sound to bad: the stated value is shown instead of a best value.
		x.Known, x.Ohms = false, math.Max(j.statedOhms(e), x.Low)
		if x.High >= math.Min(vagueEnd*x.Limit, openOhms) {
			x.High = math.Inf(1)
		}
	}
	if e.Kind == run.KindFeed && x.Verdict == assessment.Fail && !x.Open() && e.Rail == run.Loop && (x.Low > j.run.FeedExcess(e.Index) || x.Limit == j.run.FeedExcess(e.Index)) {
		x.BehavesLike = j.possibleCauses(i, x.Ohms)
	}
	j.out.Elements = append(j.out.Elements, x)
	target := j.target(i)
	target.Deviation = m[0].DeviationTowards(e.Scale(x.Limit))
	return target, x.Verdict == assessment.Unproven && e.Rail == run.Loop && !j.out.Doubtful
}

// verdictOf returns the verdict for a probability of being over the limit. An element passes by a fit
// that explains the readings, and fails by one that has converged and is not rejected.
func (j *judgement) verdictOf(over float64, known bool) assessment.Verdict {
	v := j.rule.Judge(over, known)
	if v == assessment.Pass && j.out.Doubtful || v == assessment.Fail && (j.est.Fit.PValue < minFailPValue || !j.est.Fit.Converged) {
		return assessment.Unproven
	}
	return v
}

// setResistance sets the best value and the interval of an element.
func (j *judgement) setResistance(e *estimate.Element, x *assessment.Element, m verdict.Mixture) {
	low, high := m.Interval(coverage)
	best := min(max(m[0].Mean, low), high)
	x.Ohms, x.Low, x.High = e.Ohms(best), math.Min(e.Ohms(low), maxExcludedOhms), e.Ohms(high)
	switch {
	case e.Open || e.Known && isOpen(e.Kind, x.Low, x.High):
		x.Ohms, x.High = math.Inf(1), math.Inf(1)
	case !e.Known:
		if stated := j.statedOhms(e); stated >= x.Low && stated <= x.High {
			x.Ohms = stated
		}
	}
}

// isOpen reports whether a resistance is called open by its interval, Ω: it excludes what a joint or
// feed can have and still conduct for long, and not one that carries no useful current.
func isOpen(kind run.Kind, low, high float64) bool {
	return (kind == run.KindJoint || kind == run.KindFeed) && low > minOpenOhms && high > openOhms
}

// heat returns the heat of an element at its largest current, W.
func (j *judgement) heat(e *estimate.Element, x *assessment.Element) float64 {
	switch {
	case x.Open():
		return 0
	case e.Kind == run.KindReel:
		return x.Amps * x.Amps * x.Ohms * j.run.Reels[e.Index].CopperLength()
	case e.Kind == run.KindSupply:
		return x.Amps * x.Amps * x.Ohms
	}
	return e.Watts
}

// judgedFirst reports whether an element is judged before its rails: a loop, or the minus of a joint
// whose plus is cut.
func (j *judgement) judgedFirst(e *estimate.Element) bool {
	return e.Rail == run.Loop || e.Kind == run.KindJoint && j.run.Joints[e.Index].PlusCut
}

// name returns an element's name in the run.
func (j *judgement) name(e *estimate.Element) string {
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

// statedOhms is the resistance of an element in the run file.
func (j *judgement) statedOhms(e *estimate.Element) float64 {
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

// limit is the limit of an element, in its own unit; NaN without one. A single conductor has the
// limit of the whole loop: above that it is certainly bad.
func (j *judgement) limit(e *estimate.Element) float64 {
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

// feedLimit is the limit of a feed, Ω, at the current of the design step, if there is one.
func (j *judgement) feedLimit(i int) float64 {
	amps := 0.0
	if j.design != nil {
		amps = j.design[i]
	}
	return j.run.FeedLimit(i, amps)
}

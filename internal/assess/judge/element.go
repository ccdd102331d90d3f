package judge

import (
	"math"

	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/fit/estimate"
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
// limit, from which the best value carries no information. vagueEnd is its ratio to the limit, or to the
// lower end where that is above it, from which the upper end itself carries none.
const (
	vagueInterval = 4
	vagueEnd      = 10
)

// maxExcludedOhms is the largest resistance, Ω, that readings can exclude.
const maxExcludedOhms = 1e5

// element judges one element by its distribution and appends it, unless that is nil: it is one rail,
// and the readings do not separate the rails. It returns a target where further readings could decide
// it.
func (j *judgement) element(i int, m verdict.Mixture) (nextreading.Target, bool) {
	if m == nil {
		return nextreading.Target{}, false
	}
	e := &j.est.Elements[i]
	x := assessment.Element{Kind: e.Kind, Name: j.name(e), Rail: e.Rail, Known: e.Known,
		Limit: j.limit(e), ProbabilityOverLimit: math.NaN(), Amps: e.Amps}
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
	x.Verdict = j.verdictOf(e, x.ProbabilityOverLimit, e.Known)
	if j.judgedFirst(e) {
		j.loop = x
	}
	j.showStatedOhms(e, &x)
	if e.Kind == run.KindFeed && x.Verdict == assessment.Fail && !x.Open() && e.Rail == run.Loop && (x.Low > j.run.FeedExcess(e.Index) || x.Limit == j.run.FeedExcess(e.Index)) {
		x.BehavesLike = j.possibleCauses(i, x.Ohms)
	}
	j.out.Elements = append(j.out.Elements, x)
	target := j.target(i)
	target.Deviation = m[0].DeviationTowards(e.Scale(x.Limit))
	return target, j.rule.Judge(x.ProbabilityOverLimit, e.Known) == assessment.Unproven && e.Rail == run.Loop && j.est.Fit.Converged
}

// verdictOf returns the verdict on an element for a probability of being over the limit. An explanation
// whose fit did not converge tells nothing: its probability counts against either verdict. One that
// differs from the run file shows what is wrong, and nothing sound: see differs. It does not show what is
// wrong with the reel at which something is unlisted, nor with its joints and feeds where that is a wire
// between places: one of them may be elsewhere, so that it carries their current.
func (j *judgement) verdictOf(e *estimate.Element, over float64, known bool) assessment.Verdict {
	v := j.rule.Judge(over, known)
	switch {
	case v == assessment.Pass && over+j.unconverged+j.differing > j.rule.Pass,
		v == assessment.Fail && (over-j.unconverged < j.rule.Fail || j.besideUnlisted(e)):
		return assessment.Unproven
	}
	return v
}

// besideUnlisted reports whether an element is the reel at which something unlisted explains the readings
// best, whose own current depends on where along it that is, or belongs to it where that is a wire between
// places.
func (j *judgement) besideUnlisted(e *estimate.Element) bool {
	at := j.est.Model.UnlistedAt()
	return e.Kind == run.KindReel && e.Index == at || j.isAtReel(e, at) && j.est.Model.UnlistedReturns(j.est.Assumptions, j.est.X)
}

// isAtReel reports whether an element is a reel, or joins it.
func (j *judgement) isAtReel(e *estimate.Element, reel int) bool {
	switch e.Kind {
	case run.KindReel:
		return e.Index == reel
	case run.KindJoint:
		return j.run.Joints[e.Index].From == reel || j.run.Joints[e.Index].To == reel
	case run.KindFeed:
		to := j.run.Feeds[e.Index].To
		return to.Kind == run.AtReel && to.Index == reel
	}
	return false
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
		if stated := j.statedOhms(e); stated > 0 {
			x.Ohms = min(max(stated, x.Low), x.High)
		}
	}
}

// showStatedOhms shows the stated resistance of an undecided joint or feed that may be anything from
// sound to bad, instead of a best value that carries no information, and no upper end that carries none.
func (j *judgement) showStatedOhms(e *estimate.Element, x *assessment.Element) {
	jointOrFeed := e.Kind == run.KindJoint || e.Kind == run.KindFeed
	if !jointOrFeed || x.Verdict != assessment.Unproven || x.Ohms >= openOhms {
		return
	}
	end := vagueEnd * math.Max(x.Limit, x.Low)
	if x.Low <= x.Limit && x.High >= math.Min(vagueInterval*x.Limit, openOhms) {
		x.Known, x.Ohms = false, math.Max(j.statedOhms(e), x.Low)
	}
	if x.High >= math.Min(end, openOhms) {
		x.High = math.Inf(1)
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

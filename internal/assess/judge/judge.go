// Package judge turns readings into an assessment: it fits a run to its readings, compares each
// resistance with its limit, and writes findings: what is wrong, which readings contradict the
// others and what to read next.
package judge

import (
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
	unconverged  float64                       // probability of the explanations whose fit did not converge
	differing    float64                       // of the others, of those in which the run differs from its file
	mixtures     []verdict.Mixture             // by element: its distribution; nil of rails that the readings do not separate
	targets      []nextreading.Target          // elements without a verdict
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
	j.out.Doubt = j.doubt()
	j.out.Doubtful = doubtful(j.out)
	for k, x := range j.explanations {
		switch {
		case !x.Fit.Converged:
			j.unconverged += j.weights[k]
		case j.differs(x):
			j.differing += j.weights[k]
		}
	}
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

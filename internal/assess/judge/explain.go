package judge

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

// Explain assesses like Make, and explains the verdict on one element. The element is named as in
// the run, with its kind before a colon where several have that name. It returns an error also
// where no element has the name.
func Explain(r *run.Run, readings []reading.Reading, name string) (*assessment.Assessment, *assessment.Explanation, error) {
	j, err := judgeReadings(r, readings)
	if err != nil {
		return nil, nil, err
	}
	i, err := j.elementNamed(name)
	if err != nil {
		return nil, nil, err
	}
	return j.out, j.explain(i), nil
}

// elementNamed finds an element's loop, or the single conductor of a joint whose plus is cut.
func (j *judgement) elementNamed(name string) (int, error) {
	kind, bare, both := strings.Cut(name, ":")
	if !both {
		kind, bare = "", name
	}
	var found []int
	var of []string
	for i := range j.est.Elements {
		e := &j.est.Elements[i]
		first := e.Rail == run.Loop || e.Kind == run.KindJoint && j.run.Joints[e.Index].PlusCut
		if first && j.name(e) == bare && (kind == "" || kind == string(e.Kind)) {
			found, of = append(found, i), append(of, string(e.Kind)+":"+bare)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return 0, fmt.Errorf("no joint, feed, reel or supply is named %q", name)
	}
	return 0, fmt.Errorf("%q is the name of several: write %s", name, strings.Join(of, " or "))
}

// explain groups similar readings, over all steps and in the step that contributes most.
func (j *judgement) explain(i int) *assessment.Explanation {
	x := &assessment.Explanation{Element: *j.assessed(i), Why: strings.TrimSpace(j.why(i) + " " + j.couldBe(i)), Advice: j.advice(i)}
	e := &j.est.Elements[i]
	groups := map[string][]int{}
	var order []string
	for n, r := range j.out.Readings {
		if !r.Used {
			continue
		}
		what := j.relationOf(e, r.Reading)
		if groups[what] == nil {
			order = append(order, what)
		}
		groups[what] = append(groups[what], n)
		if one := j.partOf(i, "the reading", r.Step, []int{n}); x.Single == nil || one.Share > x.Single.Share {
			x.Single = &one
		}
	}
	var parts []assessment.Part
	for _, what := range order {
		parts = append(parts, j.partOf(i, what, "", groups[what]))
	}
	slices.SortStableFunc(parts, func(a, b assessment.Part) int {
		switch { // the other voltages come last
		case a.What == otherVoltages:
			return 1
		case b.What == otherVoltages:
			return -1
		}
		return cmp.Compare(b.Share, a.Share)
	})
	for _, p := range parts {
		if p.Share < minShare {
			continue
		}
		x.Parts = append(x.Parts, p)
		if step, ok := j.largestStep(i, p.What, groups[p.What]); ok && step.Share >= minShare {
			x.Parts = append(x.Parts, step)
		}
	}
	x.Sources = j.sources(i)
	return x
}

// otherVoltages names the voltages that are not measured at an element.
const otherVoltages = "all other voltages"

// minShare is the least share that is reported.
const minShare = 0.02

// largestStep returns the step of a group of readings that contributes most; several is false
// where the group has one step only.
func (j *judgement) largestStep(i int, what string, group []int) (heaviest assessment.Part, several bool) {
	byStep := map[string][]int{}
	for _, n := range group {
		step := j.out.Readings[n].Step
		byStep[step] = append(byStep[step], n)
	}
	if len(byStep) < 2 {
		return heaviest, false
	}
	for _, step := range j.run.Steps {
		if list := byStep[step.Name]; list != nil {
			if p := j.partOf(i, what, step.Name, list); p.Share > heaviest.Share {
				heaviest = p
			}
		}
	}
	heaviest.PartOfPrevious = true
	return heaviest, true
}

// partOf returns the contribution of some readings, and the verdict on the element without them.
func (j *judgement) partOf(i int, what, step string, group []int) assessment.Part {
	e := &j.est.Elements[i]
	w := j.est.Without(i, group)
	p := assessment.Part{What: what, Step: step, Share: w.Share, Known: w.Known, Verdict: assessment.None}
	for _, n := range group {
		p.Rows = append(p.Rows, j.out.Readings[n].Row)
	}
	p.Ohms = math.Max(e.Ohms(w.Belief.Mean), 0)
	low, high := w.Belief.Interval(coverage)
	p.Low, p.High = math.Max(e.Ohms(low), 0), e.Ohms(high)
	p = asOpen(e.Kind, p)
	if limit := j.limit(e); !math.IsNaN(limit) {
		p.Verdict = j.verdictOf(e, verdict.Distribution{Belief: w.Belief}.ProbabilityAbove(e.Scale(limit)), w.Known)
	}
	if e.Open {
		p.Ohms, p.Low, p.High, p.Verdict = math.Inf(1), e.LowerBound, math.Inf(1), j.assessed(i).Verdict
	}
	return p
}

// asOpen reports a joint or feed as open where the readings that are left show it to be.
func asOpen(kind run.Kind, p assessment.Part) assessment.Part {
	if p.Known && isOpen(kind, p.Low, p.High) {
		p.Ohms, p.Low, p.High = math.Inf(1), math.Min(p.Low, maxExcludedOhms), math.Inf(1)
	}
	return p
}

// sources lists where an element's uncertainty comes from.
func (j *judgement) sources(i int) []assessment.Source {
	words := [estimate.SourceCount]string{
		estimate.Digits:          "noise and rounding of the readings",
		estimate.Meters:          "the meters' gain and offset errors",
		estimate.Pixels:          "the pixels' current",
		estimate.Temperature:     "the copper's temperature",
		estimate.Supplies:        "the supplies' voltages",
		estimate.OtherConductors: "other conductors that the readings do not tell apart from it",
	}
	var list []assessment.Source
	for k, share := range j.est.Budget(i) {
		if share >= minShare {
			list = append(list, assessment.Source{What: words[k], Share: share})
		}
	}
	slices.SortStableFunc(list, func(a, b assessment.Source) int { return cmp.Compare(b.Share, a.Share) })
	return list
}

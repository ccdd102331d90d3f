package judge

import (
	"fmt"
	"math"
	"strings"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

// reportInseparable names the unproven elements that the readings cannot tell apart, with the sum
// that they determine.
func (j *judgement) reportInseparable() {
	if !j.est.Fit.Converged {
		return
	}
	for _, g := range j.est.Inseparable(j.unproven()) {
		j.addFinding(assessment.Notice, "unproven", j.inseparableText(g))
	}
}

// unproven lists the loops without a verdict.
func (j *judgement) unproven() (elements []int) {
	for i := range j.est.Elements {
		if x := j.assessed(i); x != nil && x.Rail == run.Loop && x.Verdict == assessment.Unproven {
			elements = append(elements, i)
		}
	}
	return elements
}

// assessed finds the assessment of an estimated element; nil where it has none.
func (j *judgement) assessed(i int) *assessment.Element {
	e := &j.est.Elements[i]
	for k := range j.out.Elements {
		if x := &j.out.Elements[k]; x.Kind == e.Kind && x.Rail == e.Rail && x.Name == j.name(e) {
			return x
		}
	}
	return nil
}

// inseparableText names the elements that the readings cannot tell apart, and gives their sum.
func (j *judgement) inseparableText(g estimate.Group) string {
	var names, sum []string
	whole := true
	for k, i := range g.Elements {
		e := &j.est.Elements[i]
		name := string(e.Kind) + " " + j.name(e)
		names = append(names, name)
		if g.Parts[k] < 1 {
			whole = false
			name = fmt.Sprintf("%.0f %% of %s", 100*g.Parts[k], name)
		}
		sum = append(sum, name)
	}
	last := len(names) - 1
	text := fmt.Sprintf("The readings cannot tell %s from %s: ", strings.Join(names[:last], ", "), names[last])
	known := fmt.Sprintf("%s (%s to %s)", milli(g.Ohms), milli(math.Max(0, g.Ohms-verdict.Coverage95*g.Deviation)), milli(g.Ohms+verdict.Coverage95*g.Deviation))
	if whole {
		return text + "together they have " + known + "."
	}
	return text + "they only show the sum of " + strings.Join(sum, " and ") + ": " + known + "."
}

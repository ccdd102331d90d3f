package judge

import (
	"fmt"
	"math"
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// concede takes back what another account, with other readings left out, does not confirm:
// verdicts become unproven, and intervals reach over both.
func (j *judged) concede(other *judged) {
	var hang []string
	for i := range j.out.Elements {
		x := &j.out.Elements[i]
		y := other.same(x)
		if y == nil {
			y = &assessment.Element{Verdict: assessment.Unproven, High: math.Inf(1), Ohms: x.Ohms, Over: math.NaN()}
		}
		unlike := y.Verdict != x.Verdict || y.Ohms < x.Low || y.Ohms > x.High
		if unlike {
			x.Low, x.High = math.Min(x.Low, y.Low), math.Max(x.High, y.High)
		}
		if y.Verdict == x.Verdict || math.IsNaN(x.Limit) {
			continue
		}
		if x.Verdict != assessment.Unproven && x.Rail == run.Loop {
			hang = append(hang, string(x.Kind)+" "+x.Name)
		}
		if !math.IsNaN(x.Over) && math.Abs(y.Over-0.5) < math.Abs(x.Over-0.5) {
			x.Over = y.Over
		}
		x.Verdict = assessment.Unproven
	}
	for i := range j.out.Elements { // no conductor fails without its loop
		x := &j.out.Elements[i]
		if x.Verdict != assessment.Fail || x.Rail == run.Loop || j.onlyRow(*x) {
			continue
		}
		loop := *x
		loop.Rail = run.Loop
		if y := j.same(&loop); y != nil && y.Verdict != assessment.Fail {
			x.Verdict = assessment.Unproven
		}
	}
	if mine, others := j.only(other), other.only(j); mine != "" && others != "" {
		j.rivals.mine = mine
		j.rivals.others = append(j.rivals.others, others)
		j.rivals.hang = append(j.rivals.hang, hang...)
	}
}

// rivals are readings that contradict each other, of which nobody can say which is wrong.
type rivals struct {
	mine         string   // left out here
	others, hang []string // left out elsewhere; what would have a verdict without
}

// findRivals tells of them.
func (j *judged) findRivals() {
	if j.rivals.mine == "" {
		return
	}
	text := fmt.Sprintf("Either %s is wrong, or %s: the rest agrees with each. Read them again.", j.rivals.mine, strings.Join(j.rivals.others, ", or "))
	if len(j.rivals.hang) > 0 {
		text += " Unproven until then: " + strings.Join(j.rivals.hang, ", ") + "."
	}
	j.say(assessment.Warning, "reading", text)
}

// same finds the element of another account.
func (j *judged) same(x *assessment.Element) *assessment.Element {
	for i := range j.out.Elements {
		if y := &j.out.Elements[i]; y.Kind == x.Kind && y.Name == x.Name && y.Rail == x.Rail {
			return y
		}
	}
	return nil
}

// only names the readings that this account leaves out and another one does not.
func (j *judged) only(other *judged) string {
	var list []string
	for i, x := range j.out.Readings {
		if x.Suspect && !other.out.Readings[i].Suspect {
			list = append(list, fmt.Sprintf("line %d (%s, %q)", x.Row, between(x), x.Step))
		}
	}
	return strings.Join(list, " and ")
}

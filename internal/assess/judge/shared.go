package judge

import (
	"fmt"
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// A sharedReading is the voltage of a supply or junction without which several failing elements
// would not fail.
type sharedReading struct {
	reading  int   // into the assessment's readings
	elements []int // loops, into the estimate's elements
}

// withdrawShared withdraws the failures that depend on one voltage of a supply or junction. One wrong
// reading is as likely as two bad feeds, and no other reading contradicts it, because the supply may
// be trimmed to that voltage. A mean of several readings counts as right.
func (j *judgement) withdrawShared() {
	var failing []int
	for i := range j.est.Elements {
		if x := j.assessed(i); x != nil && x.Rail == run.Loop && x.Verdict == assessment.Fail && !x.Open() {
			failing = append(failing, i)
		}
	}
	if len(failing) < 2 {
		return
	}
	for n, r := range j.out.Readings {
		if !r.Used || r.Mean != nil || !j.feedsMeetAt(r) {
			continue
		}
		s := sharedReading{reading: n}
		for _, i := range failing {
			if j.assessed(i).Verdict == assessment.Fail && j.partOf(i, "", "", []int{n}).Verdict != assessment.Fail {
				s.elements = append(s.elements, i)
			}
		}
		if len(s.elements) < 2 {
			continue
		}
		j.shared = append(j.shared, s)
		again := nextOf(r)
		for _, i := range s.elements {
			j.withdraw(i, "It would fail by "+lineOf(r)+" alone, and so would others; without that reading it would not. Read it again.")
			again.Settles = append(again.Settles, j.name(&j.est.Elements[i]))
		}
		j.again = append(j.again, again)
	}
}

// nextOf returns a reading as one to take again.
func nextOf(r assessment.Reading) assessment.Next {
	return assessment.Next{Quantity: r.Quantity, From: r.From, To: r.To, Step: r.Step, Meter: r.Meter}
}

// withdraw makes a failing loop and its conductors unproven, for a reason in words.
func (j *judgement) withdraw(i int, reason string) {
	loop := j.assessed(i)
	for k := range j.out.Elements {
		if x := &j.out.Elements[k]; x.Kind == loop.Kind && x.Name == loop.Name && x.Verdict == assessment.Fail {
			x.Verdict, x.BehavesLike = assessment.Unproven, ""
		}
	}
	if j.withheld == nil {
		j.withheld = map[int]string{}
	}
	j.withheld[i] = reason
}

// feedsMeetAt reports whether a reading is the pair voltage of a supply or a junction.
func (j *judgement) feedsMeetAt(r assessment.Reading) bool {
	if r.Quantity != run.Voltage {
		return false
	}
	from, errFrom := j.run.Point(r.From)
	to, errTo := j.run.Point(r.To)
	return errFrom == nil && errTo == nil && from.Place == to.Place && from.Kind != run.AtReel
}

// lineOf names a reading by the line of its row, its place and step.
func lineOf(x assessment.Reading) string {
	return fmt.Sprintf("line %d (%s, %q)", x.Row, between(x), x.Step)
}

// reportShared names the readings on which several failures rest.
func (j *judgement) reportShared() {
	for _, s := range j.shared {
		var names []string
		for _, i := range s.elements {
			names = append(names, string(j.est.Elements[i].Kind)+" "+j.name(&j.est.Elements[i]))
		}
		x := j.out.Readings[s.reading]
		j.addFinding(assessment.Warning, "reading", fmt.Sprintf("One reading alone makes %s fail: %s shows %s %s. If it is wrong they may be sound. Read it again, or in another step. Undecided until then: %s.",
			strings.Join(names, " and "), lineOf(x), x.Text, x.Unit, strings.Join(names, ", ")))
	}
}

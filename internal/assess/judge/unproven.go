package judge

import (
	"math"
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// reportUnproven lists the undecided elements, what to do about conductors that may be open, and
// for each joint whose plus is cut why no reading under load can judge it.
func (j *judgement) reportUnproven() {
	var names []string
	for i := range j.est.Elements {
		x := j.assessed(i)
		if x != nil && x.Verdict == assessment.Unproven && (x.Rail == run.Loop || j.isCutJoint(*x)) && !j.wouldPass(i, x) {
			names = append(names, string(x.Kind)+" "+x.Name)
		}
	}
	switch {
	case j.out.Unread:
		j.addFinding(assessment.Notice, "readings", j.unreadText()+" ohmkeep plan lists what to read.")
	case len(names) > 0 && j.est.Fit.Converged:
		text := "Not enough readings to decide: " + strings.Join(names, ", ") + "."
		if len(j.out.Next) > 0 {
			text += " The readings to take next are listed."
		} else {
			text += " More readings with the meters of the run file would hardly help."
		}
		j.addFinding(assessment.Notice, "unproven", text)
	}
	if j.est.Fit.Converged {
		j.reportAccounts()
	}
	for i := range j.est.Elements {
		if x := j.assessed(i); x != nil && mayBeOpen(x) && x.Verdict == assessment.Unproven && (x.Rail == run.Loop || j.isCutJoint(*x)) {
			j.addFinding(assessment.Warning, string(x.Kind)+" "+x.Name, "Perhaps open. "+j.why(i)+" "+j.advice(i))
		}
	}
	for _, joint := range j.run.Joints {
		if joint.PlusCut {
			j.addFinding(assessment.Notice, "joint "+joint.Name, "Its plus is cut, so almost no current flows through its minus and no reading under load can judge it. Disconnect the supplies, then measure it with a milliohm meter or pull at it gently.")
		}
	}
}

// reportAccounts lists the values that are only assumed, and for up to maxAccounts other undecided
// elements the conditions under which they could be bad.
func (j *judgement) reportAccounts() {
	listed := 0
	var assumed []string
	stated := "those of the run file"
	for i := range j.est.Elements {
		if x := j.assessed(i); x != nil && !x.Known && !math.IsNaN(x.Limit) && x.Rail == run.Loop {
			assumed = append(assumed, string(x.Kind)+" "+x.Name)
			if x.Ohms != j.statedOhms(&j.est.Elements[i]) {
				stated = "those of the run file, or the nearest to them that the readings allow"
			}
		}
	}
	if len(assumed) > 0 {
		j.addFinding(assessment.Notice, "unproven", "The values in brackets are "+stated+", since the readings hardly depend on them: "+strings.Join(assumed, ", ")+".")
	}
	for i := range j.est.Elements {
		x := j.assessed(i)
		if x == nil || x.Verdict != assessment.Unproven || x.Rail != run.Loop || mayBeOpen(x) {
			continue
		}
		if text := j.couldBe(i); text != "" && listed < maxAccounts {
			listed++
			j.addFinding(assessment.Notice, string(x.Kind)+" "+x.Name, "Undecided. "+text)
		}
	}
}

// wouldPass reports whether an element would pass by itself, and does not since the run may not be as
// its file says. Further readings do not change that.
func (j *judgement) wouldPass(i int, x *assessment.Element) bool {
	return j.rule.Judge(x.ProbabilityOverLimit, j.est.Elements[i].Known) == assessment.Pass && x.ProbabilityOverLimit+j.unconverged <= j.rule.Pass
}

// maxAccounts is the greatest number of elements with such a finding; Explain gives it for any one.
const maxAccounts = 5

// isCutJoint reports whether an element is a joint whose plus is cut.
func (j *judgement) isCutJoint(x assessment.Element) bool {
	for _, joint := range j.run.Joints {
		if x.Kind == run.KindJoint && joint.Name == x.Name {
			return joint.PlusCut
		}
	}
	return false
}

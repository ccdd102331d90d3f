package judge

import (
	"fmt"
	"math"
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// find writes the findings, gravest first.
func (j *judged) find() {
	for i := range j.out.Elements {
		if x := &j.out.Elements[i]; x.Verdict == assessment.Fail && x.Rail == run.Loop {
			j.say(assessment.Failing, string(x.Kind)+" "+x.Name, j.failure(x))
		}
	}
	for _, warning := range j.run.ParallelWarnings() {
		j.say(assessment.Warning, "supplies", strings.ToUpper(warning[:1])+warning[1:]+".")
	}
	j.findMisfit()
	j.findSlips()
	for i := range j.out.Readings {
		x := &j.out.Readings[i]
		if !x.Suspect || mended(*x) {
			continue
		}
		if x.Note == "" {
			x.Note = j.resembles(*x)
		}
		like := ""
		if x.Note != "" {
			like = "; " + x.Note
		}
		j.say(assessment.Warning, "reading", fmt.Sprintf("line %d (%s, %q) shows %s %s; the others say %.4g%s. Read it again; it was left out.",
			x.Row, between(*x), x.Step, x.Text, x.Unit, inUnit(x.Predicted, x.Unit), like))
	}
	j.findRivals()
	j.findUnproven()
	j.findTogether()
	j.findUnused()
	j.findLoads()
}

func (j *judged) say(s assessment.Severity, subject, text string) {
	j.out.Findings = append(j.out.Findings, assessment.Finding{Severity: s, Subject: subject, Text: text})
}

// failure says what a failing element is and what to do about it.
func (j *judged) failure(x *assessment.Element) string {
	if x.Open() {
		return fmt.Sprintf("open: no current passes, it has at least %s. ", milli(x.Low)) + mendOpen
	}
	interval := fmt.Sprintf("%s (%s to %s), limit %s", milli(x.Ohms), milli(x.Low), milli(x.High), milli(x.Limit))
	heat := ""
	if x.Watts >= 0.05 && x.Ohms < parted {
		watts := fmt.Sprintf("%.2g", x.Watts)
		if x.Watts >= 99.5 {
			watts = fmt.Sprintf("%.0f", x.Watts) // no exponent
		}
		heat = fmt.Sprintf(" It turns %s W into heat at %.2f A.", watts, x.Amps)
	}
	switch x.Kind {
	case run.KindJoint:
		return interval + j.onRail(x) + "." + heat + " Disconnect the supply, then remake it."
	case run.KindFeed:
		text := interval + j.onRail(x) + "."
		if i := j.run.FeedIndex(x.Name); x.Like == "" && x.Limit < j.run.FeedExcess(i) {
			return text + fmt.Sprintf(" Its wire is about as stated, but at the %.2f A of step %q it drops more than %.3g %% of %.3g V.",
				j.design[i], j.run.Steps[j.run.Limits.DesignStep].Name, 100*j.run.Limits.FeedDrop, j.run.SupplyOf(i).Volts) +
				heat + " Use thicker or shorter wire, or feed the strip from its other end too."
		}
		if x.Like != "" {
			text += " It behaves like " + x.Like + "."
		}
		return text + heat + remedyFor(x.Like)
	default:
		return interval + " per metre: its copper is thinner than stated. Feed it at both ends or carry less current."
	}
}

// onRail tells which conductor carries the fault, where the readings know.
func (j *judged) onRail(x *assessment.Element) string {
	var plus, minus *assessment.Element
	for i := range j.out.Elements {
		y := &j.out.Elements[i]
		if y.Kind == x.Kind && y.Name == x.Name {
			switch y.Rail {
			case run.Plus:
				plus = y
			case run.Minus:
				minus = y
			}
		}
	}
	switch {
	case plus == nil || minus == nil:
		return ""
	case plus.Low > 2*minus.High:
		return ", in the plus conductor"
	case minus.Low > 2*plus.High:
		return ", in the minus conductor"
	}
	return ""
}

// findUnproven names what is not settled, once, says what to do about conductors that
// may be open, and of each joint whose plus is cut why no loaded reading can settle it.
func (j *judged) findUnproven() {
	var names []string
	for _, x := range j.out.Elements {
		if x.Verdict == assessment.Unproven && (x.Rail == run.Loop || j.onlyRow(x)) {
			names = append(names, string(x.Kind)+" "+x.Name)
		}
	}
	switch {
	case j.out.Unread():
		j.say(assessment.Notice, "readings", j.unread())
	case len(names) > 0 && !j.doubt:
		text := "Not enough readings to decide: " + strings.Join(names, ", ") + "."
		if len(j.out.Next) > 0 {
			text += " What to read next is listed."
		} else {
			text += " No further reading with the stated meters would tell much more of that."
		}
		j.say(assessment.Notice, "unproven", text)
	}
	for i := range j.est.Elements {
		if x := j.judgedAs(i); x != nil && mayBeOpen(x) && x.Verdict == assessment.Unproven && (x.Rail == run.Loop || j.onlyRow(*x)) {
			j.say(assessment.Warning, string(x.Kind)+" "+x.Name, "Perhaps open. "+j.why(i)+" "+j.advice(i))
		}
	}
	for _, joint := range j.run.Joints {
		if joint.PlusCut {
			j.say(assessment.Notice, "joint "+joint.Name, "Its plus is parted, so next to no current crosses its minus and no loaded reading can judge it. With the supplies disconnected, measure it by a milliohm meter or tug at it.")
		}
	}
}

// onlyRow tells whether an element is the single row of a joint whose plus is cut.
func (j *judged) onlyRow(x assessment.Element) bool {
	for _, joint := range j.run.Joints {
		if x.Kind == run.KindJoint && joint.Name == x.Name {
			return joint.PlusCut
		}
	}
	return false
}

// findUnused tells of readings that took no part, by reason.
func (j *judged) findUnused() {
	reasons := map[string][]string{}
	var order []string
	for _, x := range j.out.Readings {
		if x.Used || x.Suspect || x.Quantity.String() == "temperature" {
			continue
		}
		if reasons[x.Note] == nil {
			order = append(order, x.Note)
		}
		reasons[x.Note] = append(reasons[x.Note], fmt.Sprint(x.Row))
	}
	for _, why := range order {
		j.say(assessment.Notice, "readings", fmt.Sprintf("Not used: line %s: %s.", strings.Join(reasons[why], ", "), why))
	}
}

func between(x assessment.Reading) string {
	if x.To == "" {
		return x.From
	}
	return x.From + " to " + x.To
}

// milli is a resistance with three digits, in milliohms where it is less than an ohm.
func milli(ohms float64) string {
	switch {
	case math.IsInf(ohms, 1):
		return "no upper bound"
	case ohms < 0.01:
		return fmt.Sprintf("%.1f mΩ", 1000*ohms)
	case ohms >= 999.5:
		return fmt.Sprintf("%.0f Ω", ohms)
	case ohms >= 0.9995:
		return fmt.Sprintf("%.3g Ω", ohms)
	}
	return fmt.Sprintf("%.3g mΩ", 1000*ohms)
}

// inUnit is an SI value in the unit that a reading was written in.
func inUnit(si float64, unit string) float64 {
	switch {
	case strings.HasPrefix(unit, "m"):
		return si * 1e3
	case strings.HasPrefix(unit, "u"), strings.HasPrefix(unit, "µ"):
		return si * 1e6
	}
	return si
}

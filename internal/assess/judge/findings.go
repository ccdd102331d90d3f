package judge

import (
	"fmt"
	"math"
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// addFindings writes the findings, the most serious first.
func (j *judgement) addFindings() {
	for i := range j.out.Elements {
		if x := &j.out.Elements[i]; x.Verdict == assessment.Fail && x.Rail == run.Loop {
			j.addFinding(assessment.Failing, string(x.Kind)+" "+x.Name, j.failure(x))
		}
	}
	for _, warning := range j.run.ParallelWarnings() {
		j.addFinding(assessment.Warning, "supplies", strings.ToUpper(warning[:1])+warning[1:]+".")
	}
	j.reportMisfit()
	j.reportMistakes()
	j.noteSuspects()
	for i := range j.out.Readings {
		x := &j.out.Readings[i]
		if !x.Suspect || partOfMistake(*x) {
			continue
		}
		like := ""
		if x.Note != "" {
			like = "; " + x.Note
		}
		j.addFinding(assessment.Warning, "reading", fmt.Sprintf("%s shows %s %s; the other readings predict %.4g %s%s. It was not used. Read it again.",
			lineOf(*x), x.Text, x.Unit, inUnit(x.Predicted, x.Unit), x.Unit, like))
	}
	j.reportAlternatives()
	j.reportUnproven()
	j.reportInseparable()
	j.reportUnused()
	j.reportLoads()
}

// addFinding appends one finding.
func (j *judgement) addFinding(s assessment.Severity, subject, text string) {
	j.out.Findings = append(j.out.Findings, assessment.Finding{Severity: s, Subject: subject, Text: text})
}

// failure returns the value of a failing element, its likely cause and the remedy.
func (j *judgement) failure(x *assessment.Element) string {
	if x.Open() {
		return fmt.Sprintf("open: no current passes, it has at least %s. ", milli(x.Low)) + openAdvice
	}
	interval := fmt.Sprintf("%s (%s to %s), limit %s", milli(x.Ohms), milli(x.Low), milli(x.High), milli(x.Limit))
	heat := ""
	if x.Watts >= 0.05 && x.Ohms < openOhms {
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
		if i := j.run.FeedIndex(x.Name); x.BehavesLike == "" && x.Limit < j.run.FeedExcess(i) {
			return text + fmt.Sprintf(" Its wire is about as stated, but at the %.2f A of step %q it drops more than %.3g %% of %.3g V.",
				j.design[i], j.run.Steps[j.run.Limits.DesignStep].Name, 100*j.run.Limits.FeedDrop, j.run.SupplyOf(i).Volts) +
				heat + " Use thicker or shorter wire, or feed the strip from its other end too."
		}
		if x.BehavesLike != "" {
			text += " It behaves like " + x.BehavesLike + "."
		}
		return text + heat + feedRemedy(x.BehavesLike)
	default:
		return interval + " per metre: its copper is thinner than stated. Feed it at both ends or carry less current."
	}
}

// onRail names the conductor that has the fault; "" where the readings do not show it.
func (j *judgement) onRail(x *assessment.Element) string {
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

// reportUnused lists the readings that were not used, by reason.
func (j *judgement) reportUnused() {
	reasons := map[string][]string{}
	var order []string
	for _, x := range j.out.Readings {
		if x.Used || x.Suspect || x.Mistaken || x.Quantity.String() == "temperature" {
			continue
		}
		if reasons[x.Note] == nil {
			order = append(order, x.Note)
		}
		reasons[x.Note] = append(reasons[x.Note], fmt.Sprint(x.Row))
	}
	for _, why := range order {
		j.addFinding(assessment.Notice, "readings", fmt.Sprintf("Not used: line %s: %s.", strings.Join(reasons[why], ", "), why))
	}
}

// lineOf names a reading by the line of its row, its place and step.
func lineOf(x assessment.Reading) string {
	return fmt.Sprintf("line %d (%s, %q)", x.Row, between(x), x.Step)
}

// nextOf returns a reading as one to take again.
func nextOf(r assessment.Reading) assessment.Next {
	return assessment.Next{Quantity: r.Quantity, From: r.From, To: r.To, Step: r.Step, Meter: r.Meter}
}

// between names the points of a reading.
func between(x assessment.Reading) string {
	if x.To == "" {
		return x.From
	}
	return x.From + " to " + x.To
}

// milli writes a resistance with three digits, in milliohms below an ohm.
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

// inUnit converts an SI value to the unit of a reading.
func inUnit(si float64, unit string) float64 {
	switch {
	case strings.HasPrefix(unit, "m"):
		return si * 1e3
	case strings.HasPrefix(unit, "u"), strings.HasPrefix(unit, "µ"):
		return si * 1e6
	}
	return si
}

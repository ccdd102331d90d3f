package chart

import (
	"ohmkeep/internal/advise/repair"
)

// Repairs draws the highest safe limiter setting as wired and after each repair of a
// plan, against what the step needs. width is in pixels.
func Repairs(p *repair.Plan, width int) *Picture {
	return Gains("The highest safe limiter, by repair", "A, as the controller counts", "the design step needs",
		p.Mix.Limiter(p.Basis.Run, p.Level), repairRows(p), width)
}

// repairRows returns a bar for the run as wired, one for each repair, and one for the best pair.
func repairRows(p *repair.Plan) []Gain {
	row := func(label string, e repair.Effect) Gain {
		return Gain{Label: label, Value: e.Limiter.Value, Low: e.Limiter.Low, High: e.Limiter.High, Verdict: e.Verdict}
	}
	rows := []Gain{row("as wired", p.AsWired)}
	for _, o := range p.Options {
		if o.Repairs[0].Kind != repair.Lower { // it does not raise the safe limiter
			rows = append(rows, row(o.Repairs[0].Text, o.Effect))
		}
	}
	if p.Pair != nil {
		rows = append(rows, row(p.Pair.Repairs[0].Text+"; "+p.Pair.Repairs[1].Text, p.Pair.Effect))
	}
	return rows
}

package report

import (
	"io"

	"ohmkeep/internal/assess/plan"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/show/wording"
)

// PlanJSON writes a plan as one JSON object on one line. The error is the writer's.
func PlanJSON(w io.Writer, p *plan.Plan) error {
	text := func(s string) any { return s }
	return write(w, "plan", object{
		{"schema", schema}, {"run", wording.RunName(p.Run)}, {"meters", list(p.Meters, text)}, {"order", wording.PlanOrder},
		{"steps", len(p.Rounds)}, {"points", p.Points}, {"readings", p.Readings},
		{"rounds", list(p.Rounds, func(r plan.Round) any {
			return object{{"step", r.Step}, {"read", list(r.Reads, func(n assessment.Next) any {
				return object{{"quantity", n.Quantity.String()}, {"from", n.From}, {"to", n.To}, {"meter", n.Meter}}
			})}}
		})},
		{"warnings", list(p.Warnings, text)},
		{"elements", list(p.Elements, func(e plan.Element) any {
			o := object{{"kind", e.Kind}, {"name", e.Name}, {"limit_milliohms", milli(e.Limit)}, {"stated_milliohms", milli(e.Stated)},
				{"amps", number(e.Amps)}, {"settled", e.Settled}, {"resolves_milliohms", milli(e.HalfWidth)}, {"best_milliohms", milli(e.BestHalfWidth)}}
			if !e.Settled {
				o = append(o, member{"why", e.Why}, member{"helps", list(e.Remedies, text)})
			}
			return o
		})},
	})
}

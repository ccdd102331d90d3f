package jsondoc

import (
	"io"

	"ohmkeep/internal/assess/plan"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/wording"
)

// PlanDoc is what plan prints.
type PlanDoc struct {
	Schema   int              `json:"schema"`
	Run      string           `json:"run"`
	Meters   []string         `json:"meters"`
	Order    string           `json:"order"`
	Steps    int              `json:"steps"`
	Points   int              `json:"points"`
	Readings int              `json:"readings"`
	Rounds   []RoundDoc       `json:"rounds"`
	Warnings []string         `json:"warnings"`
	Elements []PlanElementDoc `json:"elements"`
}

// RoundDoc is what is read in one step, in walking order.
type RoundDoc struct {
	Step string           `json:"step"`
	Read []PlanReadingDoc `json:"read"`
}

// PlanReadingDoc is one reading to take.
type PlanReadingDoc struct {
	Quantity string  `json:"quantity"`
	From     string  `json:"from"`
	To       string  `json:"to"`
	Meter    string  `json:"meter"`
	Lead     float64 `json:"lead_metres,omitempty"` // that it takes, along one conductor
}

// PlanElementDoc is the expected result of the plan for a joint or feed.
type PlanElementDoc struct {
	Kind              run.Kind  `json:"kind"`
	Name              string    `json:"name"`
	LimitMilliohms    Number    `json:"limit_milliohms"`
	StatedMilliohms   Number    `json:"stated_milliohms"`
	Amps              Number    `json:"amps"`
	Settled           bool      `json:"settled"`
	ResolvesMilliohms Number    `json:"resolves_milliohms"`
	BestMilliohms     Number    `json:"best_milliohms"`
	Why               *string   `json:"why,omitempty"`   // where it is not settled
	Helps             *[]string `json:"helps,omitempty"` // what would settle it
}

// Plan writes a plan. The error is the writer's.
func Plan(w io.Writer, p *plan.Plan) error {
	return write(w, "plan", PlanDoc{
		Schema: schema, Run: wording.RunName(p.Run), Meters: texts(p.Meters), Order: wording.PlanOrder,
		Steps: len(p.Rounds), Points: p.Points, Readings: p.Readings,
		Rounds: list(p.Rounds, func(r plan.Round) RoundDoc {
			return RoundDoc{r.Step, list(r.Reads, func(n assessment.Next) PlanReadingDoc {
				return PlanReadingDoc{n.Quantity.String(), n.From, n.To, n.Meter, n.Lead}
			})}
		}),
		Warnings: texts(p.Warnings),
		Elements: list(p.Elements, func(e plan.Element) PlanElementDoc {
			d := PlanElementDoc{Kind: e.Kind, Name: e.Name, LimitMilliohms: milli(e.Limit), StatedMilliohms: milli(e.Stated), Amps: Number(e.Amps),
				Settled: e.Settled, ResolvesMilliohms: milli(e.HalfWidth), BestMilliohms: milli(e.BestHalfWidth)}
			if !e.Settled {
				remedies := texts(e.Remedies)
				d.Why, d.Helps = &e.Why, &remedies
			}
			return d
		}),
	})
}

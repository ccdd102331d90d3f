package jsondoc

import (
	"io"
	"math"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/wording"
)

// AssessDoc is what assess prints.
type AssessDoc struct {
	Schema      int             `json:"schema"`
	Run         string          `json:"run"`
	Fit         FitDoc          `json:"fit"`
	Elements    []ElementDoc    `json:"elements"`
	Readings    []ReadingDoc    `json:"readings"`
	Next        []NextDoc       `json:"next"`
	Findings    []FindingDoc    `json:"findings"`
	Explanation *ExplanationDoc `json:"explanation,omitempty"`
}

// FitDoc is how well the fitted run explains the readings.
type FitDoc struct {
	Converged        bool   `json:"converged"`
	ChiSquared       Number `json:"chi_squared"`
	DegreesOfFreedom int    `json:"degrees_of_freedom"`
	PValue           Number `json:"p_value"`
}

// ElementDoc is a resistance at 20 °C with its verdict; a reel's is per metre.
type ElementDoc struct {
	Kind                   run.Kind           `json:"kind"`
	Name                   string             `json:"name"`
	Rail                   run.Rail           `json:"rail"`
	Milliohms              *Number            `json:"milliohms,omitempty"`
	MilliohmsPerMetre      *Number            `json:"milliohms_per_metre,omitempty"`
	Low                    Number             `json:"low"`
	High                   Number             `json:"high"`
	LimitMilliohmsPerMetre *Number            `json:"limit_milliohms_per_metre,omitempty"`
	LimitMilliohms         *Number            `json:"limit_milliohms,omitempty"` // a reel's too, in its own unit
	ProbabilityOverLimit   *Number            `json:"probability_over_limit,omitempty"`
	Verdict                assessment.Verdict `json:"verdict,omitempty"`
	Known                  bool               `json:"known"`
	Like                   string             `json:"like,omitempty"`
	Amps                   Number             `json:"amps"`
	Watts                  Number             `json:"watts"`
}

// NextDoc is a reading that is proposed.
type NextDoc struct {
	Quantity string   `json:"quantity"`
	From     string   `json:"from"`
	To       string   `json:"to"`
	Step     string   `json:"step"`
	Meter    string   `json:"meter"`
	Lead     float64  `json:"lead_metres,omitempty"` // that it takes, along one conductor
	Settles  []string `json:"settles"`
}

// FindingDoc is a result for the installer.
type FindingDoc struct {
	Severity assessment.Severity `json:"severity"`
	Subject  string              `json:"subject"`
	Text     string              `json:"text"`
}

// Assessment writes an assessment and, where x is not nil, the explanation of the verdict on one
// element. The error is the writer's.
func Assessment(w io.Writer, a *assessment.Assessment, x *assessment.Explanation) error {
	d := AssessDoc{
		Schema: schema, Run: wording.RunName(a.Run),
		Fit:      FitDoc{a.Fit.Converged, Number(a.Fit.ChiSquared), a.Fit.DegreesOfFreedom, Number(a.Fit.PValue)},
		Elements: list(a.Elements, elementDoc),
		Readings: list(byRow(a.Readings), readingDoc),
		Next: list(a.Next, func(n assessment.Next) NextDoc {
			return NextDoc{n.Quantity.String(), n.From, n.To, n.Step, n.Meter, n.Lead, texts(n.Settles)}
		}),
		Findings: list(a.Findings, func(f assessment.Finding) FindingDoc { return FindingDoc{f.Severity, f.Subject, f.Text} }),
	}
	if x != nil {
		d.Explanation = explanationDoc(x)
	}
	return write(w, "assessment", d)
}

func elementDoc(e assessment.Element) ElementDoc {
	ohms, high := milli(e.Ohms), milli(e.High)
	if e.Open() {
		ohms, high = Number(math.Inf(1)), Number(math.Inf(1))
	}
	d := ElementDoc{Kind: e.Kind, Name: e.Name, Rail: e.Rail, Low: milli(e.Low), High: high, Verdict: e.Verdict, Known: e.Known, Like: e.BehavesLike,
		Amps: Number(e.Amps), Watts: Number(e.Watts), LimitMilliohms: optional(milli(e.Limit))}
	if e.Kind == run.KindReel {
		d.MilliohmsPerMetre, d.LimitMilliohmsPerMetre = &ohms, d.LimitMilliohms
	} else {
		d.Milliohms = &ohms
	}
	if d.LimitMilliohms != nil {
		over := Number(e.ProbabilityOverLimit)
		if !e.Known { // the probability of an assumed value carries no information
			over = Number(math.NaN())
		}
		d.ProbabilityOverLimit = &over
	}
	return d
}

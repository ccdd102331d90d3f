package report

import (
	"bytes"
	"io"
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"ohmkeep/internal/assess/plan"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// schedule is an invented plan.
func schedule() *plan.Plan {
	return &plan.Plan{Run: &run.Run{Name: "Map room"}, Meters: []string{"hand", "bench"}, Points: 2, Readings: 2, Warnings: []string{"the plus rails of supplies A and B meet"},
		Rounds: []plan.Round{{Step: "white 12 %", Reads: []assessment.Next{
			{Quantity: run.Current, From: "near", Step: "white 12 %", Meter: "hand"},
			{Quantity: run.Voltage, From: "west.end+", To: "north.start+", Step: "white 12 %", Meter: "bench"}}}},
		Elements: []plan.Element{
			{Kind: assessment.Joint, Name: "west-north", Limit: 0.015, Stated: 0.003, Amps: 1, Step: "white 12 %", Settled: true, HalfWidth: 0.0012, BestHalfWidth: 0.0011},
			{Kind: assessment.Joint, Name: "north-east", Limit: math.NaN(), HalfWidth: math.Inf(1), BestHalfWidth: math.Inf(1), Why: "its plus is parted"},
		}}
}

func TestPlanTable(t *testing.T) {
	var b bytes.Buffer
	if err := PlanTable(&b, schedule(), false); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	for _, want := range []string{"warning   the plus rails of supplies A and B meet", "2 readings, 2 points, 1 step: settle 1 of 2 joints and feeds", "taken to be the slower part", `Set step "white 12 %", then read`,
		"1         current through feed near with meter hand", "2         voltage from west.end+ to north.start+ with meter bench",
		"settles   joint west-north", "±1.20", "joint north-east stays open: its plus is parted. None of the finer"} {
		if !strings.Contains(strings.ReplaceAll(text, "\n", " "), want) && !strings.Contains(text, want) {
			t.Errorf("%q is missing in\n%s", want, text)
		}
	}
	for _, line := range strings.Split(text, "\n") {
		if utf8.RuneCountInString(line) > tableWidth {
			t.Errorf("too wide: %q", line)
		}
	}
}

func TestKeysOfPlanJSON(t *testing.T) {
	p := decode(t, func(w io.Writer) error { return PlanJSON(w, schedule()) })
	has(t, "plan", p, "schema", "run", "meters", "order", "steps", "points", "readings", "rounds", "elements", "warnings")
	round := p["rounds"].([]any)[0].(map[string]any)
	has(t, "round", round, "step", "read")
	has(t, "reading", round["read"].([]any)[0], "quantity", "from", "to", "meter")
	elements := p["elements"].([]any)
	has(t, "settled", elements[0], "kind", "name", "limit_milliohms", "stated_milliohms", "amps", "settled", "resolves_milliohms", "best_milliohms")
	has(t, "open", elements[1], "kind", "name", "limit_milliohms", "stated_milliohms", "amps", "settled", "resolves_milliohms", "best_milliohms", "why", "helps")
	if open := elements[1].(map[string]any); open["limit_milliohms"] != nil || open["resolves_milliohms"] != nil || open["settled"] != false {
		t.Errorf("%v", open)
	}
}

// explained is an invented explanation.
func explained() *assessment.Explanation {
	part := func(what, step string, of bool, share float64, v assessment.Verdict, rows ...int) assessment.Part {
		return assessment.Part{What: what, Step: step, Of: of, Share: share, Rows: rows, Ohms: 0.09, Low: 0.06, High: 0.13, Verdict: v, Known: share < 0.999}
	}
	single := part("the reading", "white 12 %", false, 0.3, assessment.Fail, 7)
	return &assessment.Explanation{
		Element: assessment.Element{Kind: assessment.Joint, Name: "west-north", Rail: assessment.Loop, Ohms: 0.0976, Low: 0.0949, High: 0.1004, Limit: 0.015, Over: 1, Verdict: assessment.Fail, Known: true},
		Parts: []assessment.Part{
			part("the pair voltages either side of it", "", false, 0.97, assessment.Unproven, 4, 5, 6, 9),
			part("the pair voltages either side of it", "white 12 %", true, 0.81, assessment.Fail, 4, 7),
			part("all other voltages", "", false, 0.9995, assessment.Unproven, 10, 11),
		},
		Single:  &single,
		Sources: []assessment.Source{{What: "the last digits of the readings", Share: 0.7}},
	}
}

func TestExplainText(t *testing.T) {
	var b bytes.Buffer
	if err := ExplainText(&b, explained(), false); err != nil {
		t.Fatal(err)
	}
	text := strings.Join(strings.Fields(b.String()), " ")
	for _, want := range []string{"joint west-north: FAIL, 97.6 mΩ (94.9 … 100.4), limit 15.0", "97 % the pair voltages either side of it (rows 4–6, 9): without 60.0 … 130.0, unproven",
		`81 % of these, those in step "white 12 %" (rows 4, 7): without 60.0 … 130.0, still fail`, "> 99 % all other voltages (rows 10, 11): nothing would be known without",
		`is row 7 in step "white 12 %", with 30 %`, "So no single reading decides.", "70 % the last digits"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in\n%s", want, b.String())
		}
	}
	x := explained()
	x.Why, x.Advice = "The fit is in doubt.", "Disconnect the supply."
	x.Single.Share = 0.001
	x.Element.Ohms, x.Element.Low, x.Element.High = math.Inf(1), 2, math.Inf(1)
	b.Reset()
	if err := ExplainText(&b, x, false); err != nil || !strings.Contains(b.String(), "open, at least") || !strings.Contains(b.String(), "\nThe fit is in doubt.\nDisconnect the supply.\n") {
		t.Errorf("%v\n%s", err, b.String())
	}
	b.Reset()
	if err := ExplainText(&b, &assessment.Explanation{Element: assessment.Element{Kind: assessment.Feed, Name: "far", Limit: math.NaN(), Over: math.NaN()}}, false); err != nil || !strings.Contains(b.String(), "No reading tells of it.") {
		t.Errorf("%v\n%s", err, b.String())
	}
}

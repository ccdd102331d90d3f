package plan

import (
	"slices"
	"strings"
	"testing"

	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/network/prediction"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run/runtest"
)

// parallel is an invented run whose two supplies, of one voltage, feed either end: in the lit
// step no current flows back into any of them.
var parallel = runtest.Head("invented") + runtest.Supply("A", 5.1, 20, 0) + runtest.Supply("B", 5.1, 20, 0) + runtest.Reels(2, "west", "north") +
	"[[joint]]\nbetween = [\"west\", \"north\"]\nplus = \"joined\"\n" +
	runtest.FeedFrom("near", "A", "west.start", 2, "18 AWG") + runtest.FeedFrom("far", "B", "north.end", 2, "18 AWG") + runtest.White("white", 0.05)

// Supplies whose plus rails meet are warned of by their wiring alone, in a prediction, a plan
// and an assessment; with the plus cut there is no warning.
func TestSuppliesThatMeetAreWarnedOf(t *testing.T) {
	for file, want := range map[string]bool{parallel: true, strings.Replace(parallel, `"joined"`, `"cut"`, 1): false} {
		r := runtest.Parse(t, file)
		warned := func(where string, texts []string) {
			got := slices.ContainsFunc(texts, func(s string) bool { return strings.Contains(s, "supplies A and B meet") })
			if got != want {
				t.Errorf("%s: warned %v, want %v: %q", where, got, want, texts)
			}
		}
		p, err := prediction.Make(r, r.Steps[0])
		if err != nil {
			t.Fatal(err)
		}
		warned("predict", p.Warnings)
		planned, err := Make(r, nextreading.CarriedMeters(r))
		if err != nil {
			t.Fatal(err)
		}
		warned("plan", planned.Warnings)
		a, err := judge.Make(r, nil)
		if err != nil {
			t.Fatal(err)
		}
		var texts []string
		for _, f := range a.Findings {
			if f.Severity == assessment.Warning {
				texts = append(texts, f.Text)
			}
		}
		warned("assess", texts)
	}
}

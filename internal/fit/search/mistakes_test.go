package search

import (
	"slices"
	"testing"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// The voltages of the brightest step of a run with an open feed were read with the leads reversed.
// Nothing else explains them, so that no conductor is held open without that mistake.
func TestNoOpensBesideACertainMistake(t *testing.T) {
	const far = 1
	r, list := modeltest.OpenFeeds([2]int{far, int(run.Minus)})
	reverseLeads(r, list)
	m, err := model.New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	found, err := findExplanations(initialFit(t, m))
	if err != nil {
		t.Fatal(err)
	}
	best, _ := bestOf(found)
	if x := best.Assumptions.Mistakes; len(x) != 1 || x[0].Kind != model.LeadsReversed || len(best.open) != 1 || best.open[0].Unknown != m.Feeds[far][run.Minus] {
		t.Errorf("mistakes are %v, open is %v", x, best.open)
	}
	for _, e := range found {
		if len(e.open) > 0 && len(e.Assumptions.Mistakes) == 0 {
			t.Errorf("open is %v, without a mistake, with a score of %.0f beside %.0f", e.open, e.score(), best.score())
		}
	}
}

// reverseLeads changes the signs of all voltages of a run's last step.
func reverseLeads(r *run.Run, list []reading.Reading) {
	last := r.Steps[len(r.Steps)-1].Name
	for i := range list {
		if list[i].Step == last && list[i].Quantity == run.Voltage {
			list[i].Value = -list[i].Value
		}
	}
}

// initialFit is a fit to all readings.
func initialFit(t *testing.T, m *model.Model) explanation {
	t.Helper()
	a := m.Assume()
	fit, err := model.SolveLimited(m, a, m.Start(a), initialIterations)
	if err != nil {
		t.Fatal(err)
	}
	return explain(fit, nil)
}

// In one step the currents of both feeds were written down for each other. That is one mistake, not two
// wrong readings.
func TestCurrentsSwappedInOneStep(t *testing.T) {
	for step := 1; step < 4; step++ { // in the dark both draw about the same
		r, list := modeltest.Cornice()
		r.Feeds[1].Ohms, r.Feeds[1].WireOhms = 0.45, 0.45 // so that the currents differ
		modeltest.Fill(r, list)
		var two []int
		for i, x := range list {
			if x.Step == r.Steps[step].Name && x.Quantity == run.Current {
				two = append(two, i)
			}
		}
		list[two[0]].Value, list[two[1]].Value = list[two[1]].Value, list[two[0]].Value
		m, err := model.New(r, list)
		if err != nil {
			t.Fatal(err)
		}
		best, err := Best(m)
		if err != nil {
			t.Fatal(err)
		}
		want := []model.Mistake{{Kind: model.SwappedInStep, A: 1, B: 0, Step: step}}
		if got := best.Assumptions.Mistakes; !slices.Equal(got, want) || best.Assumptions.ExcludedCount() != 0 {
			t.Errorf("step %d: mistakes are %v, %d readings are excluded; want %v", step, got, best.Assumptions.ExcludedCount(), want)
		}
	}
}

// Beside reversed leads, which explain all readings, no mistake is tried further that leaves them in
// contradiction.
func TestOnlyMistakesThatExplainAreTried(t *testing.T) {
	r, list := modeltest.Cornice()
	reverseLeads(r, list)
	m, err := model.New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	trials := initialFit(t, m).tryMistakes()
	if len(trials) != 1 || trials[0].Assumptions.Mistakes[0].Kind != model.LeadsReversed {
		t.Errorf("%d mistakes are tried further", len(trials))
	}
}

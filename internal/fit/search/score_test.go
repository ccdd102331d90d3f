package search

import (
	"math"
	"testing"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
)

// Each assumption adds its odds to the score. The best explanation is that of least score; the
// others follow once each, if they are nearly as good.
func TestBestOf(t *testing.T) {
	r, list := modeltest.Cornice()
	m, err := model.New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	plain := solved(t, m, m.Assume())
	with := func(change func(a *model.Assumptions)) explanation {
		fit := *plain.Fit
		change(&fit.Assumptions)
		return explanation{Fit: &fit}
	}
	dark := with(func(a *model.Assumptions) { a.DarkReel = 1 })
	mistaken := with(func(a *model.Assumptions) { a.Mistakes = []model.Mistake{{Kind: model.FeedsSwapped, A: 1}} })
	wrong := with(func(a *model.Assumptions) { *a = a.Excluding(2) })
	open := with(func(*model.Assumptions) {})
	open.open = []OpenConductor{{Unknown: m.Joints[1][0], Split: 1}}
	unsettled := with(func(*model.Assumptions) {})
	unsettled.Converged = false
	for _, c := range []struct {
		what string
		e    explanation
		more float64
	}{{"a dark reel", dark, darkReel}, {"one of one possible mistake", mistaken, operatorMistake}, {"a wrong reading", wrong, wrongReading},
		{"an open conductor", open, openConductor}, {"a fit that has not converged", unsettled, notConverged}} {
		if got := c.e.score() - plain.score(); math.Abs(got-c.more) > 1e-9 {
			t.Errorf("%s adds %g, not %g", c.what, got, c.more)
		}
	}
	best, others := bestOf([]explanation{mistaken, dark, open, plain, wrong, dark})
	if best.Fit != plain.Fit || len(others) != 1 || others[0].Fit != dark.Fit {
		t.Errorf("best is the plain one: %v, %d others", best.Fit == plain.Fit, len(others))
	}
}

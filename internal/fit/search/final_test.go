package search

import (
	"math"
	"slices"
	"testing"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
)

// Readings with a higher voltage behind a joint than any resistance allows: the final fit
// converges, keeps every conductor near zero or above, and leaves out the foil priors of reels
// that they do not determine.
func TestFinalFitBelowZero(t *testing.T) {
	r, list := modeltest.Cornice()
	for i := range list {
		if k := i / 8; list[i].From == "north.start+" {
			list[i].Value += []float64{0, 0.0015, 0.004, 0.008}[k]
		}
	}
	m, err := model.New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	fit := solved(t, m, m.Assume()).finalFit()
	least := 0.0
	for _, j := range m.BoundedResistances() {
		least = math.Min(least, fit.X[j])
	}
	if !fit.Converged || least > -1e-4 || least < -0.005 {
		t.Errorf("converged %v, the lowest conductor at %g", fit.Converged, least)
	}
	if !slices.Contains(fit.Assumptions.NoFoilPrior, true) {
		t.Error("every foil prior is left")
	}
}

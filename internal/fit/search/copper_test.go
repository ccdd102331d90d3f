package search

import (
	"slices"
	"testing"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
)

// Copper far above what is stated has the odds of one bad element, once for all reels of its type. A reel with half
// of its stated resistance costs more than something that is not in the run file, one with a quarter far more,
// and copper as stated nothing.
func TestOddsOfCopper(t *testing.T) {
	r, list := modeltest.Cornice()
	m, err := model.New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	stated := solved(t, m, m.Assume())
	with := func(factor float64) explanation {
		fit := *stated.Fit
		fit.X = slices.Clone(fit.X)
		fit.X[m.FoilPriors[0].FoilFactor] = factor
		for _, at := range m.Reels[0] { // the readings determine this one well
			fit.X[at] = factor
		}
		return explain(&fit, nil)
	}
	for factor, want := range map[float64]float64{0.5: 0, 1: 0, 1.2: 0, 1.6: badElement} {
		if got := with(factor).highCopperOdds(); got != want {
			t.Errorf("%g of the stated resistance: odds %.1f of that much, want %.1f", factor, got, want)
		}
	}
	half, quarter := with(0.5).lowOdds(), with(0.25).lowOdds()
	if low := with(0.8).lowOdds(); low > 0 || half < unlistedCurrent || quarter < 3*half {
		t.Errorf("0.8 of the stated resistance: odds %.1f, 0.5: %.1f, 0.25: %.1f", low, half, quarter)
	}
}

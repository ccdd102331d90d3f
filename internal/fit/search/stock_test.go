package search

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// A reel of two thirds of the copper, read at its ends and in its middle, is explained better as one
// from another production batch. With reels alike there is no such explanation.
func TestReelOfOtherStock(t *testing.T) {
	for _, thinner := range []float64{1, 1.5} {
		r, list := modeltest.Cornice()
		for _, s := range r.Steps {
			for _, at := range []string{"west.150", "north.150", "east.150", "east.end"} {
				list = append(list, reading.Reading{Step: s.Name, From: at + "+", To: at + "-", Meter: "hand"})
			}
		}
		real := *r
		real.Reels = slices.Clone(r.Reels)
		real.Reels[1].Strip.LoopOhms *= thinner
		modeltest.Fill(&real, list)
		m, err := model.New(r, list)
		if err != nil {
			t.Fatal(err)
		}
		fit := solved(t, m, m.Assume())
		better := slices.ContainsFunc(fit.otherStock(fit.score()), func(e explanation) bool {
			return e.Assumptions.OtherStock == 1 && e.score() < fit.score()
		})
		if better != (thinner > 1) {
			t.Errorf("%g times as thin: explained better is %v", thinner, better)
		}
	}
}

// Two reels of the cornice, fed at both ends and read along both rails with noise of 0.6 counts. The
// first has 1.7 times the stated resistance, so that its feed draws less than the other although its wire
// is shorter. The currents are right. With every reel as stated, an exchange of the two is the best explanation.
func TestReelOfOtherStockIsNoExchange(t *testing.T) {
	for seed := range uint64(3) {
		r, list := modeltest.Cornice()
		r.Reels, r.Joints = r.Reels[:2], r.Joints[:1]
		r.Feeds[1].To = run.Place{Kind: run.AtReel, Index: 1, Pixel: r.Reels[1].Pixels}
		r.Feeds[1].Ohms, r.Feeds[1].WireOhms = 0.14, 0.14
		ranges := r.Meters[0].Ranges
		ranges[1].Resolution = 0.001
		r.Meters[0].Ranges = append([]run.Range{{Quantity: run.Voltage, UpTo: 0.6, Resolution: 0.0001, Fraction: 0.005, Counts: 3}}, ranges...)
		list = slices.DeleteFunc(list, func(x reading.Reading) bool { return x.From == "east.start+" })
		for _, s := range r.Steps {
			for _, p := range [][2]string{{"west.start+", "west.end+"}, {"west.start-", "west.end-"}, {"west.end+", "north.start+"},
				{"north.start-", "west.end-"}, {"north.start+", "north.end+"}, {"north.start-", "north.end-"}} {
				list = append(list, reading.Reading{Step: s.Name, From: p[0], To: p[1], Meter: "hand"})
			}
		}
		real := *r
		real.Reels = slices.Clone(r.Reels)
		real.Reels[0].Strip.LoopOhms *= 1.7
		modeltest.Fill(&real, list)
		rng := rand.New(rand.NewPCG(seed, 7))
		for i := range list {
			count := 0.001
			if list[i].Quantity == run.Voltage && math.Abs(list[i].Value) < 0.6 {
				count = 0.0001
			}
			list[i].Value = count * math.Round(list[i].Value/count+0.6*rng.NormFloat64())
		}
		m, err := model.New(r, list)
		if err != nil {
			t.Fatal(err)
		}
		best, err := Best(m)
		if err != nil {
			t.Fatal(err)
		}
		if len(best.Assumptions.Mistakes) > 0 || best.Assumptions.OtherStock != 0 {
			t.Errorf("seed %d: mistakes are %v, of other stock is reel %d", seed, best.Assumptions.Mistakes, best.Assumptions.OtherStock)
		}
	}
}

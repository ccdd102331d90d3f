package plant_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/plant"
	"ohmkeep/internal/simulate/planttest"
)

// Three to six readings in each step, drawn at random. The noise of so few readings is hardly known
// from their residuals, so that intervals of a fixed noise would be too short: those of what the
// readings determine held 94.0 % of the truth in 120 runs with 1.2 counts and six readings a step,
// and 91.9 % with the tails of Student's kind left out (96.3 and 94.2 % with three readings). Of sound
// runs one in a hundred fails.
func TestFewReadings(t *testing.T) {
	for _, at := range []int{0, 2} { // plain, and 1.2 counts
		by := planttest.Disturbances()[at]
		var c tally
		held, known := 0, 0
		for seed := uint64(0); c.runs < max(4**rough, 2); seed++ {
			x := fewRead(t, by, 3+int(seed%4), seed)
			if x == nil {
				continue
			}
			a, err := judge.Make(x.Run, x.Readings)
			if err != nil {
				t.Fatal(err)
			}
			c.count(fmt.Sprintf("seed %d:", seed), x, a, nil)
			for _, e := range a.Elements {
				truth := x.TrueOhms(string(e.Kind), e.Name)
				counts := e.Known && e.Kind != run.KindSupply && (e.Rail == run.Loop || single(x, e)) && !math.IsInf(truth, 1)
				c.add(counts, e.Low <= truth && truth <= e.High, &held, &known)
			}
		}
		t.Logf("%s: %d runs, %s of all intervals held, %d of %d of what is known, %s of the sound joints passed", by.Name, c.runs, percent(c.held, c.intervals), held, known, part(c.proven, c.sound))
		for _, what := range c.never {
			t.Logf("%s: %s", by.Name, what)
		}
		if n := float64(c.runs); c.passedBad > 0 || float64(c.failed) > 0.01*n+3*math.Sqrt(n*0.01*0.99) {
			t.Errorf("%s: in %d runs %d sound elements failed, more than one in a hundred runs, %d bad ones passed", by.Name, c.runs, c.failed, c.passedBad)
		}
		if n := float64(known); float64(held) < 0.93*n-3*math.Sqrt(n*0.93*0.07) {
			t.Errorf("%s: %d of %d intervals of what is known held, less than 93 %%", by.Name, held, known)
		}
	}
}

// fewRead draws a sound run of which at most so many readings of volts and amperes are kept in each
// step; nil where it cannot be drawn.
func fewRead(t *testing.T, by plant.Disturbance, most int, seed uint64) *planttest.Case {
	t.Helper()
	kinds := planttest.Kinds()
	x, err := planttest.Commission(kinds[seed*5%uint64(len(kinds))], by, planttest.Sound, planttest.NoSlip, seed)
	if err != nil {
		t.Fatal(err)
	}
	if x == nil {
		return nil
	}
	rng, kept := rand.New(rand.NewPCG(seed, 5)), map[string]int{}
	var list []int
	for _, i := range rng.Perm(len(x.Readings)) {
		if r := x.Readings[i]; r.Quantity == run.Temperature || kept[r.Step] < most {
			if list = append(list, i); r.Quantity != run.Temperature {
				kept[r.Step]++
			}
		}
	}
	slices.Sort(list)
	readings := x.Readings
	x.Readings = nil
	for _, i := range list {
		x.Readings = append(x.Readings, readings[i])
	}
	return x
}

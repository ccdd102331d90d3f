package estimate

import (
	"math"
	"slices"
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/fit/search/searchtest"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// An element without some readings is as a new fit without them gives it.
func TestWithoutAgreesWithNewFit(t *testing.T) {
	r, list := modeltest.Cornice()
	whole, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	for name, gone := range map[string]func(i int, x reading.Reading) bool{
		"one reading":   func(i int, _ reading.Reading) bool { return i == 27 },
		"a place":       func(_ int, x reading.Reading) bool { return x.From == "north.end+" && x.Step != "white 0" },
		"a feed's amps": func(_ int, x reading.Reading) bool { return x.From == "far" && x.Step != "white 0" },
	} {
		var out []int
		var rest []reading.Reading
		for i, x := range list {
			if gone(i, x) {
				out = append(out, i)
			} else {
				rest = append(rest, x)
			}
		}
		again, err := MakeWith(r, rest, searchtest.KnownNoise(whole.Assumptions.Noise))
		if err != nil {
			t.Fatal(err)
		}
		moved := 0
		for k, x := range whole.Elements {
			if x.Rail != run.Loop || x.Kind == "supply" {
				continue
			}
			got, want := whole.Without(k, out), again.Elements[k].Belief
			if math.Abs(got.Belief.Deviation-want.Deviation) > 0.05*want.Deviation || math.Abs(got.Belief.Mean-want.Mean) > 0.1*want.Deviation {
				t.Errorf("without %s, %s %d: %+v, a fit says %+v", name, x.Kind, x.Index, got.Belief, want)
			}
			if share := 1 - math.Pow(x.Belief.Deviation/got.Belief.Deviation, 2); math.Abs(share-got.Share) > 1e-9 || got.Share < 0 {
				t.Errorf("without %s, %s %d: share %g, want %g", name, x.Kind, x.Index, got.Share, share)
			}
			if got.Share > 0.05 {
				moved++
			}
		}
		if moved == 0 {
			t.Errorf("without %s nothing changes", name)
		}
	}
}

// A variance is the sum of what its sources add; a clamp and a meter with no error in
// common add nothing as meters.
func TestBudgetAddsUp(t *testing.T) {
	r, list := modeltest.Cornice()
	exact := *r
	exact.Meters = slices.Clone(r.Meters)
	exact.Meters[0].Ranges = slices.Clone(r.Meters[0].Ranges)
	for i := range exact.Meters[0].Ranges {
		exact.Meters[0].Ranges[i].Fraction, exact.Meters[0].Ranges[i].Counts = 0, 0
	}
	with, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	without, err := Make(&exact, list)
	if err != nil {
		t.Fatal(err)
	}
	for k, x := range with.Elements {
		sum := 0.0
		for _, share := range with.Budget(k) {
			sum += share
			if share < 0 {
				t.Errorf("%s %d: a share of %g", x.Kind, x.Index, share)
			}
		}
		if math.Abs(sum-1) > 1e-6 {
			t.Errorf("%s %d: shares add up to %g", x.Kind, x.Index, sum)
		}
		if x.Kind == "feed" && x.Index == 0 && x.Rail == run.Loop {
			if with.Budget(k)[Meters] < 0.05 || without.Budget(k)[Meters] > 1e-3 {
				t.Errorf("a feed's meters: %g, exact ones %g", with.Budget(k)[Meters], without.Budget(k)[Meters])
			}
		}
	}
}

package limits

import (
	"math"
	"testing"

	"ohmkeep/internal/run"
)

// A supply, a fuse and a wire of 10 A carry 8 A for hours, whichever way it flows:
// 125 % of a continuous load is NFPA 70 (NEC) 215.2(A)(1) and 215.3, from memory.
func TestContinuousCurrents(t *testing.T) {
	feed := run.Feed{Name: "near", Fuse: 10, Ampacity: 10}
	for _, of := range []func(amps float64) Utilisation{
		func(amps float64) Utilisation { return OfSupply(run.Supply{Name: "A", Amps: 10}, amps) },
		func(amps float64) Utilisation { return OfFuse(feed, amps) },
		func(amps float64) Utilisation { return OfWire(feed, amps) },
	} {
		for _, c := range []struct {
			amps  float64
			holds bool
		}{{7.99, true}, {8.01, false}, {-8.01, false}, {10, false}, {0, true}} {
			if u := of(c.amps); u.Holds() != c.holds {
				t.Errorf("%v at %g A: %+v", u.Criterion, c.amps, u)
			}
		}
		if u := of(8.8); math.Abs(u.Ratio()-1.1) > 1e-12 || u.Subject == "" {
			t.Errorf("%+v", u)
		}
	}
	if !OfFuse(run.Feed{}, 99).Holds() || !OfWire(run.Feed{}, 99).Holds() {
		t.Error("a rating that is not stated is broken")
	}
	if FuseProtects(run.Feed{Fuse: 10, Ampacity: 6}) || !FuseProtects(run.Feed{Fuse: 6, Ampacity: 6}) || !FuseProtects(run.Feed{Fuse: 10}) {
		t.Error("a fuse protects a wire that is rated as high, and no other")
	}
}

// A pixel reads a high from 0.7 of its own voltage (from memory of JESD12-6): 3.57 V at 5.1 V,
// which 3.3 V logic does not reach. An output below the pixel's minus is above the limit too.
func TestDataLevels(t *testing.T) {
	for _, c := range []struct {
		sent, plus, minus float64
		holds             bool
	}{{5, 5.1, 0, true}, {3.3, 5.1, 0, false}, {3.58, 5.1, 0, true}, {5, 5.1, 1, true}, {0.5, 5.1, 0.6, false}} {
		if u := OfData("west", 1, c.sent, c.plus, c.minus); u.Holds() != c.holds {
			t.Errorf("%+v: %+v", c, u)
		}
	}
	if !LogicFollowsStrip(run.Strip{Volts: 5}) || LogicFollowsStrip(run.Strip{Volts: 12}) {
		t.Error("5 V strips run their logic on their own volts, 12 V strips do not")
	}
}

// Budgets and limits come from the run file.
func TestLimitsOfTheFile(t *testing.T) {
	r := &run.Run{Supplies: []run.Supply{{Name: "A", Volts: 5}}, Feeds: []run.Feed{{Name: "near"}}, Reels: []run.Reel{{Name: "west"}},
		Limits: run.Limits{FeedDrop: 0.03, ColourShift: 0.004, Dimming: 0.2}}
	for _, c := range []struct {
		got  Utilisation
		want float64
	}{{OfFeedDrop(r, 0, 0.1), 0.15}, {OfColour(r, 0, 7, 0), 0.004}, {OfBrightness(r, 0, 7, 0), 0.2},
		{OfJointHeat(run.Joint{}, 0, 0), 0.25}, {OfJointHeat(run.Joint{}, 0, 0.1), 0.1}} {
		if math.Abs(c.got.Limit-c.want) > 1e-12 {
			t.Errorf("%+v, want a limit of %g", c.got, c.want)
		}
	}
	for c := range Criteria {
		if c.String() == "" {
			t.Errorf("criterion %d has no name", int(c))
		}
	}
}

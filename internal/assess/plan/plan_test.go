package plan

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
)

func planned(t *testing.T, r *run.Run) *Plan {
	t.Helper()
	p, err := Make(r, nextreading.CarriedMeters(r))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// The same run gives the same plan; nothing can be left out of it; and what it promises
// to resolve is no better than what all readings together would.
func TestNothingCanBeLeftOut(t *testing.T) {
	shipped(t, func(t *testing.T, r *run.Run) {
		p := planned(t, r)
		if again := planned(t, r); fmt.Sprint(p.Rounds, p.Elements) != fmt.Sprint(again.Rounds, again.Elements) {
			t.Error("another plan the second time")
		}
		s, err := newPlanner(r, nextreading.CarriedMeters(r))
		if err != nil {
			t.Fatal(err)
		}
		chosen := s.chooseVerified()
		s.setTargetVariances(s.filter(func(i int) bool {
			return slices.ContainsFunc(chosen, func(c int) bool { return s.step[c] == s.step[i] })
		}))
		if len(chosen) != p.Readings || !s.suffices(chosen) {
			t.Fatalf("%d readings chosen, %d planned", len(chosen), p.Readings)
		}
		for i := range chosen {
			if s.suffices(slices.Delete(slices.Clone(chosen), i, i+1)) {
				t.Errorf("%+v can be left out", s.readings[chosen[i]])
			}
		}
		for _, e := range p.Elements {
			if e.HalfWidth < e.BestHalfWidth*(1-1e-6) {
				t.Errorf("%s resolves %g, at best %g", e.Name, e.HalfWidth, e.BestHalfWidth)
			}
			if e.Settled && !(2*e.HalfWidth < math.Abs(e.Limit-e.Stated)*2.1) {
				t.Errorf("%s is settled at ±%g with %g to the limit", e.Name, e.HalfWidth, e.Limit-e.Stated)
			}
			if e.Settled == (e.Why != "") {
				t.Errorf("%+v", e)
			}
		}
	})
}

// Steps come as in the run file; in each the walk goes from the supplies along the reels.
func TestWalkingOrder(t *testing.T) {
	r := runtest.Load(t, "../../../testdata/runs/gallery.toml")
	p := planned(t, r)
	last := -1
	for _, round := range p.Rounds {
		k := r.StepIndex(round.Step)
		if k <= last || len(round.Reads) == 0 {
			t.Errorf("step %q after number %d", round.Step, last)
		}
		last = k
		if !slices.IsSortedFunc(round.Reads, func(a, b assessment.Next) int { return slices.Compare(walkPosition(r, a), walkPosition(r, b)) }) {
			t.Errorf("%+v", round.Reads)
		}
	}
	for _, c := range [][2]assessment.Next{
		{{From: "S1+", To: "S1-"}, {Quantity: run.Current, From: "start"}},
		{{Quantity: run.Current, From: "far"}, {From: "block+", To: "block-"}},
		{{From: "tap+", To: "tap-"}, {From: "hall.start+", To: "hall.start-"}},
		{{From: "hall.end+", To: "hall.end-"}, {From: "hall.end+", To: "left-wing.start+"}},
		{{From: "hall.end-", To: "left-wing.start-"}, {From: "left-wing.75+", To: "left-wing.75-"}},
	} {
		if slices.Compare(walkPosition(r, c[0]), walkPosition(r, c[1])) >= 0 {
			t.Errorf("%+v comes after %+v", c[0], c[1])
		}
	}
}

// For a meter that is too coarse the plan says why and lists remedies.
func TestWhatCannotBeSettledSaysWhy(t *testing.T) {
	r := runtest.Load(t, "../../../testdata/runs/shelf.toml")
	if p := planned(t, r); !p.Settled() {
		t.Fatalf("%+v", p.Elements)
	}
	coarse := clone(r)
	for i := range coarse.Meters[0].Ranges {
		g := &coarse.Meters[0].Ranges[i]
		g.Resolution *= 20
	}
	p := planned(t, coarse)
	e := p.Elements[0]
	if p.Settled() || e.Settled || !strings.Contains(e.Why, "is needed") || len(e.Remedies) == 0 {
		t.Errorf("%+v", e)
	}
	if !slices.ContainsFunc(e.Remedies, func(s string) bool {
		return strings.Contains(s, "voltmeter that resolves 2 mV") || strings.Contains(s, "a step")
	}) {
		t.Errorf("helps: %q", e.Remedies)
	}
	// The first remedy settles the element.
	for _, remedy := range remedies {
		if len(e.Remedies) > 0 && remedy.describe(coarse, []int{0}) == e.Remedies[0] {
			changed := clone(coarse)
			remedy.change(changed, []int{0})
			if q := planned(t, changed); !q.Elements[0].Settled {
				t.Errorf("%q does not help: %+v", e.Remedies[0], q.Elements[0])
			}
			return
		}
	}
	t.Errorf("no remedy says %q", e.Remedies[0])
}

// No plan can settle a joint whose plus is cut.
func TestCutJointIsUnsettled(t *testing.T) {
	p := planned(t, runtest.Load(t, "../../../testdata/runs/facade.toml"))
	i := slices.IndexFunc(p.Elements, func(e Element) bool { return e.Name == "two-three" })
	if e := p.Elements[i]; e.Settled || !math.IsInf(e.HalfWidth, 1) || !strings.Contains(e.Why, "plus is parted") || len(e.Remedies) == 0 {
		t.Errorf("%+v", e)
	}
}

// A feed whose stated resistance is above its limit is not settled.
func TestStatedOverItsLimit(t *testing.T) {
	p := planned(t, runtest.Load(t, "../../../testdata/runs/gallery.toml"))
	i := slices.IndexFunc(p.Elements, func(e Element) bool { return e.Kind == run.KindFeed && e.Name == "middle" })
	if e := p.Elements[i]; e.Settled || !strings.Contains(e.Why, "the file states 624 mΩ, more than its limit of 612 mΩ") {
		t.Errorf("%+v", e)
	}
}

// No number is written with an exponent, and no step is proposed with a channel above full
// level or a colour that another cap would change.
func TestNumbersAndLevelsThatCanBeUsed(t *testing.T) {
	for x, want := range map[float64]string{152.3: "152", 99.9: "100", 0.0421: "0.042", 1.24e-4: "0.00012", 1234: "1234", 7: "7"} {
		if got := twoDigits(x); got != want {
			t.Errorf("%g is written %q, not %q", x, got, want)
		}
	}
	if got := milli(2.5); got != "2500 mΩ" {
		t.Errorf("2.5 Ω is %q", got)
	}
	r := runtest.Load(t, "../../../testdata/runs/shelf.toml")
	for level, want := range map[float64]float64{0.1: 4, 0.4: 2.5, 0.7: 1 / 0.7, 0.9: 0, 1: 0} {
		changed := clone(r)
		changed.Steps = []run.Step{{Name: "white", Levels: map[string]float64{"red": level, "green": level / 2}}}
		if got := possibleFactor(changed, 4); math.Abs(got-want) > 1e-12 {
			t.Errorf("at level %g a step %g times as bright is proposed, want %g", level, got, want)
		}
		if says := describeBrighter(4)(changed, nil); (says == "") != (want == 0) {
			t.Errorf("at level %g: %q", level, says)
		}
		if want == 0 {
			continue
		}
		brighter(4)(changed, nil)
		lit := changed.Steps[1].Levels
		if lit["red"] > 1+1e-12 || math.Abs(lit["green"]/lit["red"]-0.5) > 1e-12 {
			t.Errorf("at level %g: %v", level, lit)
		}
	}
}

// The resistance at 20 °C of a feed that is no warmer than the room, or as warm as the strip, is known to
// some per cent. Where that does not settle it the plan says that the temperature of its wire does.
func TestTemperatureSettlesAFeed(t *testing.T) {
	p := planned(t, runtest.Load(t, "../../../testdata/runs/cornice.toml"))
	i := slices.IndexFunc(p.Elements, func(e Element) bool { return e.Name == "far" })
	if e := p.Elements[i]; e.Settled || len(e.Remedies) == 0 || !strings.Contains(e.Remedies[0], "the temperature of each feed's wire") {
		t.Errorf("%+v", e)
	}
	for _, e := range append(p.Elements[:i:i], p.Elements[i+1:]...) {
		if !e.Settled {
			t.Errorf("%+v", e)
		}
	}
}

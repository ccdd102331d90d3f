package judge

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/network/prediction"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/calibrationtest"
)

// mixes are ways of commissioning the same invented runs. The first reads them in dim
// steps, as a person does without a plan, and pair voltages and the minus over each
// joint only; it shows what is found where little current flows and where a meter counts
// 12 V in 10 mV. The second reads both conductors over each joint, as a survey does. The
// third does so with the runs as bright as the run file says they can be lit with every
// pixel still in its straight part (0.8 of the rated volts) and no supply beyond its
// amperes: a dark step, half of that and all of it.
var mixes = []struct {
	name string
	make func(t *testing.T, i int, rng *rand.Rand) (*calibrationtest.Plant, []survey.Visit)
}{
	{"dim steps, minus only", func(t *testing.T, i int, rng *rand.Rand) (*calibrationtest.Plant, []survey.Visit) {
		return commissioningOf(t, i, rng, calibrationtest.MixedSpread, func(*run.Run) {})
	}},
	{"dim steps", func(t *testing.T, i int, rng *rand.Rand) (*calibrationtest.Plant, []survey.Visit) {
		p, _ := commissioningOf(t, i, rng, calibrationtest.MixedSpread, func(*run.Run) {})
		return p, survey.Thorough(p.Run)
	}},
	{"brightest steps", bright},
}

// bright is the third of the mixes.
func bright(t *testing.T, i int, rng *rand.Rand) (*calibrationtest.Plant, []survey.Visit) {
	p, _ := commissioningOf(t, i, rng, calibrationtest.MixedSpread, func(r *run.Run) { brighten(t, r) })
	return p, survey.Thorough(p.Run)
}

// brighten gives a run a dark step, its brightest, in whole percent, and half of that.
func brighten(t *testing.T, r *run.Run) {
	white := func(level float64) run.Step {
		return run.Step{Name: fmt.Sprintf("white %g", level), Levels: map[string]float64{"red": level, "green": level, "blue": level}}
	}
	fits := func(level float64) bool {
		p, err := prediction.Make(r, white(level))
		if err != nil {
			t.Fatal(err)
		}
		for i, s := range p.Supplies {
			if s.Amps > r.Supplies[i].Amps {
				return false
			}
		}
		for i, reel := range p.Reels {
			for _, x := range reel.Pixels {
				if x.Volts < 0.8*r.Reels[i].Strip.Volts {
					return false
				}
			}
		}
		return true
	}
	percent := 1
	for percent < 100 && fits(float64(percent+1)/100) {
		percent++
	}
	r.Steps = []run.Step{white(0), white(float64(percent) / 200), white(float64(percent) / 100)}
}

// cell is a row of the table.
type cell struct{ bad, found, healthy, passed, falsely, passedBad int }

func (c *cell) count(e assessment.Element, truth float64) {
	is := func(v assessment.Verdict) int {
		if e.Verdict == v {
			return 1
		}
		return 0
	}
	switch {
	case truth > 1.5*e.Limit:
		c.bad++
		c.found += is(assessment.Fail)
	case truth < 0.8*e.Limit:
		c.healthy++
		c.passed += is(assessment.Pass)
		c.falsely += is(assessment.Fail)
	}
	if truth > e.Limit {
		c.passedBad += is(assessment.Pass)
	}
}

func shape(r *run.Run) string {
	switch {
	case len(r.Supplies) > 1:
		return "two supplies, plus cut"
	case len(r.Junctions) > 0:
		return "over a block"
	case len(r.Feeds) > 1:
		return "both ends fed"
	}
	return "one feed"
}

// Where information is missing shows in the table: 5 V and 12 V apart, by shape, by the
// current in the joint. Of joints that carry current in every mix nearly all are settled.
func TestSimulatedMixes(t *testing.T) {
	for _, mix := range mixes {
		t.Run(mix.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(1, 2))
			rows, doubt := map[string]*cell{}, 0
			held := map[run.Kind]*tally{run.KindJoint: {}, run.KindFeed: {}, run.KindReel: {}}
			for i := range *simulations {
				p, visits := mix.make(t, i, rng)
				list, err := p.Walk(visits, rng, time.Unix(0, 0))
				if err != nil {
					t.Fatal(err)
				}
				a := assess(t, p.Run, list)
				if a.Doubtful {
					doubt++
				}
				volts := fmt.Sprintf("%.0f V", p.Run.Reels[0].Strip.Volts)
				for _, e := range a.Elements {
					if e.Rail != run.Loop || e.Kind == run.KindSupply {
						continue
					}
					truth := trueLoop(p.Run, p, e)
					held[e.Kind].add(e, truth)
					if e.Kind != run.KindJoint {
						continue
					}
					amps := "1 A or more"
					for _, most := range []float64{0.05, 0.2, 0.5, 1} {
						if e.Amps < most {
							amps = fmt.Sprintf("below %4.2f A", most)
							break
						}
					}
					for _, name := range []string{"all", volts, volts + ", " + shape(p.Run), volts + ", " + amps} {
						if rows[name] == nil {
							rows[name] = &cell{}
						}
						rows[name].count(e, truth)
					}
				}
			}
			var names []string
			for name := range rows {
				names = append(names, name)
			}
			slices.Sort(names)
			t.Logf("%-32s %6s %6s | %7s %6s %6s | %s", "joints", "bad", "found", "healthy", "passed", "failed", "passed above the limit")
			for _, name := range names {
				c := rows[name]
				t.Logf("%-32s %6d %6d | %7d %6d %6d | %d", name, c.bad, c.found, c.healthy, c.passed, c.falsely, c.passedBad)
			}
			for kind, c := range held {
				t.Logf("%s: %v", kind, *c)
				c.within(t, string(kind))
			}
			if rows["all"].passedBad > 0 || rows["all"].falsely > *simulations/100 {
				t.Error("verdicts are wrong")
			}
			// Pixels that fall by another law than the fit's are no reason for doubt, nor for
			// calling readings of dim pixels wrong.
			if t.Logf("%d runs in doubt", doubt); doubt > *simulations/100 {
				t.Errorf("%d runs in doubt", doubt)
			}
			if c := rows["5 V, 1 A or more"]; c != nil {
				atLeast(t, "bad joints at 5 V and 1 A found", c.found, c.bad, 0.99)
				atLeast(t, "healthy joints at 5 V and 1 A passed", c.passed, c.healthy, 0.95)
			}
		})
	}
}

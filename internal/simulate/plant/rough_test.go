package plant_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/plant"
)

var rough = flag.Int("rough", 2, "how many runs of each disturbance, fault and slip to assess")

// tally is what one line of the table counts.
type tally struct {
	runs            int
	held, intervals int // of joints, feeds and reels
	proven, sound   int // joints below 0.8 of their limit
	failed          int // of the sound ones
	passedBad       int // joints above their limit that were passed
	found, bad      int // joints above 1.5 times their limit, feeds with a third more than stated
	opens, open     int
	suspected, good int // readings
	named, wrong    int
	times           []time.Duration
	never           []string // sound joints failed, bad ones passed
}

func (c *tally) count(at string, x *plant.Case, a *assessment.Assessment) {
	c.runs++
	for i, r := range a.Readings {
		wrong := slices.Contains(x.Wrong, i)
		c.add(wrong, r.Suspect, &c.named, &c.wrong)
		c.add(!wrong, r.Suspect, &c.suspected, &c.good)
	}
	for _, e := range a.Elements {
		truth := x.Truth(string(e.Kind), e.Name)
		if e.Kind == run.KindSupply || e.Rail != run.Loop && !single(x, e) {
			continue
		}
		open := math.IsInf(truth, 1)
		c.add(open, e.Open(), &c.opens, &c.open)
		c.add(!open, e.Low <= truth && truth <= e.High, &c.held, &c.intervals)
		if e.Kind == run.KindFeed {
			stated := x.Run.Feeds[x.Run.FeedIndex(e.Name)].Ohms
			c.add(!open && truth > 1.3*stated+0.010, e.Verdict == assessment.Fail, &c.found, &c.bad)
		}
		if e.Kind != run.KindJoint {
			continue
		}
		c.add(!open && truth > 1.5*e.Limit, e.Verdict == assessment.Fail, &c.found, &c.bad)
		c.add(truth < 0.8*e.Limit, e.Verdict == assessment.Pass, &c.proven, &c.sound)
		if truth < 0.8*e.Limit && e.Verdict == assessment.Fail {
			c.failed++
			c.never = append(c.never, fmt.Sprintf("%s %s has %.4f Ω and was failed", at, e.Name, truth))
		}
		if truth > e.Limit && e.Verdict == assessment.Pass {
			c.passedBad++
			c.never = append(c.never, fmt.Sprintf("%s %s has %.4f Ω and was passed", at, e.Name, truth))
		}
	}
}

// single reports whether an element has one conductor: a joint whose plus is cut.
func single(x *plant.Case, e assessment.Element) bool {
	for _, j := range x.Run.Joints {
		if e.Kind == run.KindJoint && j.Name == e.Name {
			return j.PlusCut && e.Rail == run.Minus
		}
	}
	return false
}

// add counts one of all, if it belongs to them, and whether it is among some.
func (c *tally) add(belongs, is bool, some, all *int) {
	if belongs {
		*all++
		if is {
			*some++
		}
	}
}

func part(some, all int) string {
	if all == 0 {
		return "-"
	}
	return fmt.Sprintf("%d/%d", some, all)
}

const heading = "%-44s %5s %7s %9s %7s %7s %9s %7s %11s %9s %16s"

func (c *tally) String() string {
	slices.Sort(c.times)
	median, most := c.times[len(c.times)/2].Milliseconds(), c.times[len(c.times)-1].Milliseconds()
	return fmt.Sprintf(" %5d %6.1f%% %9s %7d %7d %9s %7s %11s %9s %9d, %5d", c.runs, 100*float64(c.held)/float64(c.intervals),
		part(c.proven, c.sound), c.failed, c.passedBad, part(c.found, c.bad), part(c.opens, c.open),
		part(c.suspected, c.good), part(c.named, c.wrong), median, most)
}

// fewestRuns is from how many runs on the parts of a line are held against what was reached:
// the intervals of one run are off together, so that those of a few runs are no sample.
const fewestRuns = 12

// hold fails where a line is below what its kind has reached, three binomial deviations
// allowed. 0 is a figure that is not reached yet.
func (c *tally) hold(t *testing.T, line string, want reached) {
	t.Helper()
	if c.runs < fewestRuns {
		return
	}
	for _, x := range []struct {
		what      string
		some, all int
		part      float64
	}{
		{"intervals that hold the truth", c.held, c.intervals, want.held},
		{"sound joints proven", c.proven, c.sound, want.proven},
		{"bad joints and feeds found", c.found, c.bad, want.found},
		{"open conductors found", c.opens, c.open, want.opens},
		{"good readings not suspected", c.good - c.suspected, c.good, want.unsuspected},
		{"wrong readings named", c.named, c.wrong, want.named},
	} {
		n := float64(x.all)
		if float64(x.some) < x.part*n-3*math.Sqrt(n*x.part*(1-x.part)) {
			t.Errorf("%s: %s: %d of %d, less than %.1f %%", line, x.what, x.some, x.all, 100*x.part)
		}
	}
}

// reached is which parts of what is wanted (93 % of the intervals, 92 % of the sound joints,
// 97 % of what is bad, all that is open, 99.7 % of the good and 95 % of the wrong readings) hold
// in a line today.
type reached struct{ held, proven, found, opens, unsuspected, named float64 }

// plain is what every disturbance but one has reached; ofDisturbances are the others.
var plain = reached{held: 0.93, proven: 0.85, found: 0.9, unsuspected: 0.997}

var ofDisturbances = map[string]reached{
	"copper warms by 4 K from step to step": {proven: 0.85, found: 0.9, unsuspected: 0.997},
}

// singleSlip is what a slip in one reading has reached.
var singleSlip = reached{held: 0.93, proven: 0.85, found: 0.9, unsuspected: 0.997, named: 0.95}

// ofSlips are the slips by which not all is reached.
var ofSlips = map[plant.Slip]reached{
	plant.ExchangedCurrents: {},
	plant.ReversedLeads:     {held: 0.93, found: 0.9, named: 0.95},
	plant.OtherLoad:         {held: 0.93},
	plant.StuckRange:        {held: 0.93, proven: 0.7, found: 0.9},
}

// wanted returns what a line has reached: an entry of its own, or what the others have.
func wanted[K comparable](of map[K]reached, line K, others reached) reached {
	if want, own := of[line]; own {
		return want
	}
	return others
}

// assess draws and assesses cases of all kinds in turn, as many as can be drawn.
func assess(t *testing.T, line string, want reached, draw func(kind plant.Kind, seed uint64) (*plant.Case, error)) {
	t.Helper()
	var c tally
	kinds := plant.Kinds()
	for seed := uint64(0); c.runs < *rough; seed++ {
		if seed > uint64(20*(*rough)+100) {
			t.Fatalf("%s: only %d cases could be drawn", line, c.runs)
		}
		// Kinds in turn, by a stride that has no factor in common with their number.
		kind := kinds[seed*5%uint64(len(kinds))]
		x, err := draw(kind, seed)
		if err != nil {
			t.Fatalf("%s: seed %d: %v", line, seed, err)
		}
		if x == nil {
			continue
		}
		at := time.Now()
		a, err := judge.Make(x.Run, x.Readings)
		if err != nil {
			t.Fatalf("%s: %s, seed %d: %v", line, kind.Name, seed, err)
		}
		c.times = append(c.times, time.Since(at))
		c.count(fmt.Sprintf("%s, seed %d:", kind.Name, seed), x, a)
	}
	for _, what := range c.never {
		t.Errorf("%s: %s", line, what)
	}
	t.Logf("%-44s%v", line, &c)
	c.hold(t, line, want)
}

// What the judgement makes of runs that are rougher than any model of them, drawn by
// laws that it does not have. One line a disturbance, then one a fault and one a slip of
// the hand; every second run has a bad joint in the first part.
func TestRoughRuns(t *testing.T) {
	t.Logf(heading, "", "runs", "held", "proven", "failed", "passed", "bad", "opens", "good", "wrong", "ms: median, most")
	t.Logf(heading, "", "", "", "sound", "sound", "bad", "found", "found", "suspected", "named", "")
	fault := func(seed uint64) plant.Fault {
		if seed%2 == 0 {
			return plant.BadJoint
		}
		return plant.Sound
	}
	for _, d := range plant.Disturbances() {
		assess(t, d.Name, wanted(ofDisturbances, d.Name, plain), func(kind plant.Kind, seed uint64) (*plant.Case, error) {
			return plant.Commission(kind, d, fault(seed), plant.NoSlip, seed)
		})
	}
	assess(t, "several at once", reached{held: 0.93, proven: 0.8, found: 0.8, unsuspected: 0.997}, func(kind plant.Kind, seed uint64) (*plant.Case, error) {
		d := plant.Several(rand.New(rand.NewPCG(seed, 1)))
		return plant.Commission(kind, d, fault(seed), plant.NoSlip, seed)
	})
	for _, f := range []struct {
		name  string
		fault plant.Fault
		want  reached
	}{
		{"a joint with one rail open", plant.OpenJoint, reached{held: 0.93, proven: 0.8, opens: 1, unsuspected: 0.997}},
		{"a feed with one conductor open", plant.OpenFeed, reached{held: 0.93, proven: 0.75, opens: 1, unsuspected: 0.997}},
		{"a feed too thin", plant.ThinFeed, reached{held: 0.93, proven: 0.8, found: 0.9, unsuspected: 0.997}},
	} {
		assess(t, f.name, f.want, func(kind plant.Kind, seed uint64) (*plant.Case, error) {
			return plant.Commission(kind, plant.Plain, f.fault, plant.NoSlip, seed)
		})
	}
	for _, s := range plant.Slips() {
		assess(t, s.String(), wanted(ofSlips, s, singleSlip), func(kind plant.Kind, seed uint64) (*plant.Case, error) {
			return plant.Commission(kind, plant.Plain, fault(seed), s, seed)
		})
	}
}

package judge

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/calibrationtest"
)

var simulations = flag.Int("simulations", 2, "how many commissionings to simulate; with fewer than 200, only some of the listed cases are tried")

// everyCase reports whether all listed cases are tried.
func everyCase() bool { return *simulations >= 200 }

// draw invents a run of one of the usual shapes, with its feeds and steps as the
// trade has them.
func draw(rng *rand.Rand) *run.Run {
	volts := []float64{5, 5, 12}[rng.IntN(3)]
	st := run.Strip{Volts: volts, PixelsPerMetre: []float64{30, 60}[rng.IntN(2)], Idle: 0.0008,
		LoopOhms: 0.06 + 0.06*rng.Float64()}
	for _, name := range []string{"red", "green", "blue"} {
		forward, knee := 0.50, 0.72
		if name == "red" {
			forward, knee = 0.32, 0.50
		}
		st.Channels = append(st.Channels, run.Channel{Name: name, Amps: 0.012, Forward: forward * volts, Knee: knee * volts})
	}
	r := &run.Run{Name: "invented", Ambient: 20, Limits: run.Limits{JointOhms: 0.015, FeedDrop: 0.03, FeedExcess: 0.25,
		ConnectorOhms: 0.010, ReelExcess: 0.25, DesignStep: -1},
		Meters: []run.Meter{hand}}
	r.Supplies = []run.Supply{{Name: "A", Volts: volts * 1.02, Amps: 20, Ohms: 0.005, Known: true}}
	reels := 2 + rng.IntN(3)
	for i := range reels {
		r.Reels = append(r.Reels, run.Reel{Name: fmt.Sprint("r", i), Pixels: int(st.PixelsPerMetre * (2 + 3*rng.Float64())), Follows: i - 1, Strip: st})
		if i > 0 {
			r.Joints = append(r.Joints, run.Joint{Name: fmt.Sprintf("r%d-r%d", i-1, i), From: i - 1, To: i, Limit: 0.015, Ohms: 0.003})
		}
	}
	feed := func(name string, from, to run.Place) {
		length := 1 + 3*rng.Float64()
		wire := 2 * length * 0.013174 // 16 AWG: 13.174 Ω/km from ASTM B258 and 1/58 Ω·mm²/m
		r.Feeds = append(r.Feeds, run.Feed{Name: name, From: from, To: to, Length: length, Conductor: "16 AWG",
			Material: "copper", Stranding: "solid", WireOhms: wire, Ohms: wire, TempCo: ladder.CopperTempCo})
	}
	a := run.Place{Kind: run.AtSupply}
	start := run.Place{Kind: run.AtReel, Index: 0, Pixel: 1}
	end := run.Place{Kind: run.AtReel, Index: reels - 1, Pixel: r.Reels[reels-1].Pixels}
	switch rng.IntN(5) {
	case 0: // end-fed
		feed("near", a, start)
	case 1: // both ends
		feed("near", a, start)
		feed("far", a, end)
	case 2: // middle
		feed("middle", a, run.Place{Kind: run.AtReel, Index: reels / 2, Pixel: 1})
	case 3: // two supplies, the plus parted between
		r.Supplies = append(r.Supplies, run.Supply{Name: "B", Volts: volts * 1.02, Amps: 20, Ohms: 0.005, Known: true})
		feed("near", a, start)
		feed("far", run.Place{Kind: run.AtSupply, Index: 1}, end)
		r.Joints[rng.IntN(len(r.Joints))].PlusCut = true
	case 4: // a distribution block
		r.Junctions = []run.Junction{{Name: "block"}}
		block := run.Place{Kind: run.AtJunction}
		feed("trunk", a, block)
		feed("near", block, start)
		feed("far", block, end)
	}
	for _, level := range []float64{0, 0.03, 0.06, 0.12} {
		r.Steps = append(r.Steps, run.Step{Name: fmt.Sprintf("white %g", level),
			Levels: map[string]float64{"red": level, "green": level, "blue": level}})
	}
	return r
}

// hand is a meter of 0.5 % + 3 counts with a clamp of 1.5 % + 3 counts.
var hand = run.Meter{Name: "hand", Ranges: []run.Range{
	{Quantity: run.Voltage, UpTo: 6, Resolution: 0.001, Fraction: 0.005, Counts: 3},
	{Quantity: run.Voltage, UpTo: 60, Resolution: 0.01, Fraction: 0.005, Counts: 3},
	{Quantity: run.Current, UpTo: 60, Resolution: 0.01, Fraction: 0.015, Counts: 3},
}}

// tally counts how often intervals hold the truth.
type tally struct {
	held, all int
	squares   float64 // of the errors over the intervals' half-widths
}

func (c *tally) add(e assessment.Element, truth float64) {
	c.all++
	if half := (e.High - e.Low) / 2; !math.IsInf(half, 1) {
		c.squares += (e.Ohms - truth) * (e.Ohms - truth) / half / half
	}
	if truth >= e.Low && truth <= e.High {
		c.held++
	}
}

func (c tally) String() string {
	return fmt.Sprintf("%d of %d held (%.1f %%), error %.2f σ", c.held, c.all, 100*float64(c.held)/float64(max(c.all, 1)),
		coverageFactor*math.Sqrt(c.squares/float64(c.all)))
}

const coverageFactor = 1.96

// within fails where the part that holds the truth lies three binomial deviations below
// 93 % or above 98 %: 95 % are meant to hold, and none is to be wide for comfort.
func (c tally) within(t *testing.T, what string) {
	t.Helper()
	atLeast(t, what+" intervals that hold", c.held, c.all, 0.93)
	atLeast(t, what+" intervals that do not hold", c.all-c.held, c.all, 0.02)
}

// atLeast fails where some of all are three binomial deviations below a part.
func atLeast(t *testing.T, what string, some, all int, part float64) {
	t.Helper()
	n := float64(all)
	if float64(some) < part*n-3*math.Sqrt(n*part*(1-part)) {
		t.Errorf("%s: %d of %d, less than %.1f %%", what, some, all, 100*part)
	}
}

// outcome is what a simulation counts.
type outcome struct {
	intervals                  map[run.Kind]*tally
	bad, found                 int // joints above 1.5 × limit, of them failed
	carrying, foundCarrying    int // the same, of those that carry 0.2 A in a run of 5 V, in one of more volts as many times more
	healthy, passed, falsely   int // joints below 0.8 × limit
	passedBad                  int
	readings, suspected, doubt int
	took                       time.Duration
}

func (o *outcome) count(t *testing.T, r *run.Run, p *calibrationtest.Plant, a *assessment.Assessment) {
	consistent(t, a)
	for _, x := range a.Readings {
		o.readings++
		if x.Suspect {
			o.suspected++
		}
	}
	if a.Doubtful {
		o.doubt++
	}
	for _, e := range a.Elements {
		if e.Rail != run.Loop || e.Kind == run.KindSupply {
			continue
		}
		truth := trueLoop(r, p, e)
		o.intervals[e.Kind].add(e, truth)
		if !(e.Low <= e.Ohms && e.Ohms <= e.High) {
			t.Errorf("%s %s: %g (%g to %g)", e.Kind, e.Name, e.Ohms, e.Low, e.High)
		}
		if e.Kind == run.KindJoint {
			o.countJoint(e, truth, r.Supplies[0].Volts)
		}
	}
}

func (o *outcome) countJoint(e assessment.Element, truth, volts float64) {
	if truth > e.Limit && e.Verdict == assessment.Pass {
		o.passedBad++
	}
	one := func(yes bool) int {
		if yes {
			return 1
		}
		return 0
	}
	switch {
	case truth > 1.5*e.Limit:
		o.bad++
		o.found += one(e.Verdict == assessment.Fail)
		if e.Amps >= 0.2*volts/5 {
			o.carrying++
			o.foundCarrying += one(e.Verdict == assessment.Fail)
		}
	case truth < 0.8*e.Limit:
		o.healthy++
		o.passed += one(e.Verdict == assessment.Pass)
		o.falsely += one(e.Verdict == assessment.Fail)
	}
}

// trueLoop is the resistance that an element really has.
func trueLoop(r *run.Run, p *calibrationtest.Plant, e assessment.Element) float64 {
	rails := ladder.Rails{}
	switch e.Kind {
	case run.KindJoint:
		for k, j := range r.Joints {
			if j.Name == e.Name {
				rails = p.Joints[k]
			}
		}
	case run.KindFeed:
		rails = p.Feeds[r.FeedIndex(e.Name)]
	case run.KindReel:
		rails = p.Reels[r.ReelIndex(e.Name)]
	}
	return rails.Plus + rails.Minus
}

// Commissionings of invented runs with pixels of another law than the estimate's, a
// duty some percent off, copper 10 K warmer or colder, and meters off within their
// accuracy; every second run has a joint of 25 to 150 mΩ. They are lit as brightly as the
// run file allows and read as survey proposes, both conductors over each
// joint; mix_test.go has the same runs in dim steps.
func TestSimulatedCommissionings(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	o := outcome{intervals: map[run.Kind]*tally{run.KindJoint: {}, run.KindFeed: {}, run.KindReel: {}}}
	for i := range *simulations {
		p, visits := bright(t, i, rng)
		r := p.Run
		list, err := p.Walk(visits, rng, time.Unix(0, 0))
		if err != nil {
			t.Fatal(err)
		}
		begun := time.Now()
		a, err := Make(r, list)
		o.took += time.Since(begun)
		if err != nil {
			t.Fatalf("run %d: %v", i, err)
		}
		o.count(t, r, p, a)
	}
	for kind, c := range o.intervals {
		t.Logf("%s: %v", kind, *c)
		c.within(t, string(kind))
	}
	t.Logf("joints: %d of %d bad found (%d of %d that carry 0.2 A at 5 V), %d of %d healthy passed, %d failed, %d above the limit passed",
		o.found, o.bad, o.foundCarrying, o.carrying, o.passed, o.healthy, o.falsely, o.passedBad)
	t.Logf("%d of %d good readings suspected, %d runs unexplained, %v a run", o.suspected, o.readings, o.doubt, o.took/time.Duration(*simulations))
	if o.passedBad > 0 {
		t.Errorf("%d joints above their limit passed", o.passedBad)
	}
	if float64(o.falsely) > 0.01*float64(*simulations) {
		t.Errorf("%d false alarms in %d runs", o.falsely, *simulations)
	}
	atLeast(t, "bad joints found", o.found, o.bad, 0.985)
	atLeast(t, "bad joints of 0.2 A at 5 V found", o.foundCarrying, o.carrying, 0.99)
	atLeast(t, "healthy joints passed", o.passed, o.healthy, 0.95)
	if float64(o.suspected) > 0.005*float64(o.readings) {
		t.Error("too many good readings suspected")
	}
	if float64(o.doubt) > 0.01*float64(*simulations)+1 {
		t.Error("too many runs unexplained")
	}
}

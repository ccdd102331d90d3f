package repair

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/advise/interval"
	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/limits"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/calibrationtest"
)

var simulations = flag.Int("simulations", 1, "how many commissionings are simulated")

// commissioned is an invented run as it is read: a hand meter of 0.5 % + 3 counts.
func commissioned(t *testing.T) *run.Run {
	r := runtest.Parse(t, long(0.07, `[[step]]
name = "dim"
red = 0.03
green = 0.03
blue = 0.03
[[meter]]
name = "hand"
[[meter.range]]
quantity = "voltage"
up_to = 6
resolution = 0.001
percent = 0.5
counts = 3
[[meter.range]]
quantity = "current"
up_to = 10
resolution = 0.01
percent = 1.0
counts = 2
[limits]
design_step = "white"
`))
	return r
}

func visits(r *run.Run) []survey.Visit {
	var list []survey.Visit
	pair := func(from, to string) {
		list = append(list, survey.Visit{Quantity: run.Voltage, From: from, To: to})
	}
	pair("A+", "A-")
	for _, reel := range r.Reels {
		pair(reel.Name+".start+", reel.Name+".start-")
		pair(reel.Name+".end+", reel.Name+".end-")
	}
	for _, j := range r.Joints {
		pair(r.Reels[j.From].Name+".end-", r.Reels[j.To].Name+".start-")
	}
	return append(list, survey.Visit{Quantity: run.Current, From: "near"})
}

// read returns the Basis that a plant's readings at listed places give for the first step.
func read(t testing.TB, plant *calibrationtest.Plant, list []survey.Visit, rng *rand.Rand) Basis {
	t.Helper()
	readings, err := plant.Walk(list, rng, time.Date(2026, 5, 4, 10, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	est, err := estimate.Make(plant.Run, readings)
	if err != nil {
		t.Fatal(err)
	}
	a, err := judge.FromEstimate(plant.Run, est)
	if err != nil {
		t.Fatal(err)
	}
	return Fitted(plant.Run, est, a, 0)
}

// The true effect of a repair follows from the simulated run's own resistances with the repair. Its
// least volts, its light and its highest level lie in the 95 % intervals as often as stated, within
// the scatter of so few simulations: of 2 or 5 runs with some 12 correlated repairs each, at least
// 85 %.
func TestIntervalsHoldTheTruthOfWhatIfs(t *testing.T) {
	r := commissioned(t)
	type tally struct{ in, of int }
	var volts, shift, level tally
	count := func(c *tally, n interval.Interval, truth, least float64) {
		c.of++
		if truth >= n.Low-least && truth <= n.High+least {
			c.in++
		}
	}
	for seed := range *simulations {
		rng := rand.New(rand.NewPCG(uint64(seed), 66))
		plant := calibrationtest.New(r, calibrationtest.UsualSpread, rng)
		plant.Shape = [...]pixel.Shape{pixel.Cubic, pixel.Ramp}[seed%2]
		plant.Joints[seed%2] = ladder.Rails{Plus: 0.002, Minus: 0.05 + 0.1*rng.Float64()}
		p, err := Make(read(t, plant, visits(r), rng), r.Steps[0], Options{})
		if err != nil {
			t.Fatal(err)
		}
		truth := Basis{Run: r, Best: truly(t, plant)}
		check := func(e *edit, got Effect) {
			b, err := newBench(truth, e, p.Mix, Options{}.Limits)
			if err != nil {
				t.Fatal(err)
			}
			is, err := b.effect(p.Level)
			if err != nil {
				t.Fatal(err)
			}
			count(&volts, got.LeastVolts, is.LeastVolts.Value, 1e-4)
			count(&shift, got.Shift, is.Shift.Value, 1e-5)
			count(&level, got.Highest, is.Highest.Value, 2e-3*is.Highest.Value)
		}
		check(nil, p.AsWired)
		for _, o := range p.Options {
			switch o.Repairs[0].Kind {
			case Lower, Trim: // another level; a trim depends on the estimate of the supply
				continue
			}
			check(&o.Repairs[0].edit, o.Effect)
		}
	}
	for name, c := range map[string]tally{"least volts": volts, "shift": shift, "highest level": level} {
		part := float64(c.in) / float64(c.of)
		t.Logf("%s: %d of %d (%.1f %%)", name, c.in, c.of, 100*part)
		if c.of < *simulations*5 || part < 0.85 {
			t.Errorf("%s: the interval holds %d of %d", name, c.in, c.of)
		}
	}
}

// truly is the plant's own account of the first step.
func truly(t testing.TB, p *calibrationtest.Plant) estimate.FittedState {
	t.Helper()
	if err := p.Set(0); err != nil {
		t.Fatal(err)
	}
	return estimate.FittedState{Parameters: p.Parameters(), Adjust: pixel.Adjust{Scale: p.Scales[0], Idle: p.Idle, Shift: p.Shift, Shape: p.Shape}}
}

// A run that is read well fails where the truth does: the bad joint is among the
// repairs, and remaking it wins volts.
func TestFittedPlanNamesTheBadJoint(t *testing.T) {
	r := commissioned(t)
	rng := rand.New(rand.NewPCG(5, 5))
	plant := calibrationtest.New(r, calibrationtest.UsualSpread, rng)
	plant.Joints[1] = ladder.Rails{Plus: 0.002, Minus: 0.2}
	p, err := Make(read(t, plant, visits(r), rng), r.Steps[0], Options{})
	if err != nil {
		t.Fatal(err)
	}
	// 5 % over 5 V, less half a percent that a reading of the supply may be off.
	trim := find(p, Trim, "")
	if len(trim) != 1 || p.Basis.Best.Parameters.Supplies[0].Volts+trim[0].Repairs[0].edit.trimmed[0]-r.Supplies[0].Volts > 5.225+1e-9 {
		t.Errorf("trims %+v", trim)
	}
	if lower := find(p, Lower, ""); len(lower) != 1 || lower[0].Effect.LoadVerdict != assessment.Pass || lower[0].Effect.Verdict != assessment.Fail {
		t.Errorf("lower: %+v", lower)
	}
	found := find(p, Remake, "two-three")
	if len(found) != 1 {
		t.Fatalf("not proposed; failing joints %v", p.Basis.FailingJoints)
	}
	_, volts, _, _ := p.Wins(found[0])
	n := found[0].Effect.LeastVolts
	if volts < 0.02 || !(n.Low < n.Value && n.Value < n.High) || math.IsNaN(n.High) {
		t.Errorf("wins %g V, %+v", volts, n)
	}
}

// A figure has one interval, whichever command shows it.
func TestRepairAndColourShowOneInterval(t *testing.T) {
	r := commissioned(t)
	rng := rand.New(rand.NewPCG(5, 5))
	plant := calibrationtest.New(r, calibrationtest.UsualSpread, rng)
	plant.Joints[1] = ladder.Rails{Plus: 0.002, Minus: 0.2}
	k := read(t, plant, visits(r), rng)
	p, err := Make(k, r.Steps[0], Options{})
	if err != nil {
		t.Fatal(err)
	}
	e, spot := p.AsWired, k.seen
	if u := e.State.Utilisations[limits.Colour]; spot == nil || u.Value == 0 || spot.Place.Pixel != u.Pixel || r.Reels[spot.Place.Index].Name != u.Subject {
		t.Fatalf("%+v is not the pixel of %+v, so the test shows nothing", spot, u)
	}
	if e.Shift != spot.Shift || e.LeastVolts != spot.Volts {
		t.Errorf("shift %+v and %+v, volts %+v and %+v", e.Shift, spot.Shift, e.LeastVolts, spot.Volts)
	}
	if u := spot.Shift.High / r.Limits.ColourShift; e.Utilisation.High < u {
		t.Errorf("%g of the limit is used at most, and %g of that of colour", e.Utilisation.High, u)
	}
}

// Some thirty repairs of a run of 900 pixels with readings: what the command takes, but
// for reading files and the fit.
func BenchmarkManyRepairsFitted(b *testing.B) {
	file := long(0.04, "[[step]]\nname = \"dim\"\nred = 0.02\ngreen = 0.02\nblue = 0.02\n")
	for _, name := range []string{"one", "two", "three"} {
		file = strings.Replace(file, "[[reel]]\nname = \""+name+"\"\nmetres = 5\n",
			"[[reel]]\nname = \""+name+"\"\nmetres = 1.8\n[[reel]]\nname = \""+name+" b\"\nmetres = 1.6\n[[reel]]\nname = \""+name+" c\"\nmetres = 1.6\n", 1)
	}
	for i, to := range []string{"one c.start", "two.start", "two c.start", "three.start", "three c.start", "three c.end"} {
		file += fmt.Sprintf("[[feed]]\nname = \"tap %d\"\nfrom = \"A\"\nto = \"%s\"\nmetres = %d\nconductor = \"14 AWG\"\n", i, to, 3+2*i)
	}
	r := runtest.Parse(b, file)
	rng := rand.New(rand.NewPCG(4, 40))
	plant := calibrationtest.New(r, calibrationtest.UsualSpread, rng)
	for i := range plant.Joints {
		plant.Joints[i] = ladder.Rails{Plus: 0.03, Minus: 0.1}
	}
	list := visits(r)
	for _, f := range r.Feeds[1:] {
		list = append(list, survey.Visit{Quantity: run.Current, From: f.Name})
	}
	k := read(b, plant, list, rng)
	k.FailingJoints, k.FailingFeeds = nil, nil
	for i := range r.Joints { // as if all of them failed
		k.FailingJoints = append(k.FailingJoints, i)
	}
	for i := range r.Feeds {
		k.FailingFeeds = append(k.FailingFeeds, i)
	}
	var p *Plan
	for b.Loop() {
		var err error
		if p, err = Make(k, r.Steps[0], Options{}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(p.Options)), "repairs")
	b.ReportMetric(float64(len(k.Sides)), "directions")
}

package calibrationtest

import (
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
)

// rack is an invented run: two reels in a row, fed at the start; the plus of a third
// is parted from them and has a supply of its own.
var rack = runtest.Head("Wine rack") + runtest.Supply("A", 5.1, 10, 5) + runtest.Supply("B", 5.1, 10, 0) +
	runtest.Reels(2, "low") + runtest.Reels(1, "middle", "high") + "[[joint]]\nbetween = [\"middle\", \"high\"]\nplus = \"cut\"\n" +
	runtest.FeedFrom("near", "A", "low.start", 1.5, "16 AWG") + runtest.FeedFrom("far", "B", "high.end", 3, "16 AWG") +
	"[[step]]\nname = \"dark\"\n" + runtest.White("white 10 %", 0.1)

func seeded(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 1)) }

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

func TestSameSeedSameReadings(t *testing.T) {
	r := runtest.Parse(t, rack)
	walk := func(seed uint64) any {
		rng := seeded(seed)
		list, err := New(r, UsualSpread, rng).Walk(survey.Thorough(r), rng, noon)
		if err != nil {
			t.Fatal(err)
		}
		return list
	}
	if !reflect.DeepEqual(walk(7), walk(7)) {
		t.Error("the same seed gives other readings")
	}
	if reflect.DeepEqual(walk(7), walk(8)) {
		t.Error("two seeds give the same readings")
	}
}

// A plant differs from its run file by no more than the spread says.
func TestPlantKeepsToSpread(t *testing.T) {
	r := runtest.Parse(t, rack)
	within := func(what string, got, low, high float64) {
		t.Helper()
		if !(got >= low*(1-1e-12) && got <= high*(1+1e-12)) {
			t.Errorf("%s: %g is not in %g … %g", what, got, low, high)
		}
	}
	for seed := range uint64(100) {
		p := New(r, UsualSpread, seeded(seed))
		within("warmth", p.Celsius, 10, 30)
		within("idle", p.Idle, 0.8, 1.2)
		for i, j := range p.Joints {
			half := UsualSpread.JointOhms / 2
			within("a joint's minus", j.Minus, 0.7*0.2*half, 1.3*half)
			if r.Joints[i].PlusCut != math.IsInf(j.Plus, 1) {
				t.Errorf("joint %s has a plus of %g Ω", r.Joints[i].Name, j.Plus)
			}
		}
		for i, f := range p.Feeds {
			within("a feed", f.Plus+f.Minus, 0.95*r.Feeds[i].Ohms, 1.05*r.Feeds[i].Ohms)
		}
		for _, reel := range p.Reels {
			within("a reel", reel.Plus+reel.Minus, 0.08*0.95*(1-0.05/4)*(1-0.05/2), 0.08*1.05*(1+0.05/4)*(1+0.05/2))
		}
		for _, s := range p.Supplies {
			within("a supply", s.Volts, 5.1*0.99, 5.1*1.01)
		}
		for _, scale := range p.Scales {
			within("a step's scale", scale, 0.92*0.96, 1.08*1.04)
		}
	}
	exact := New(r, Spread{}, seeded(1))
	if exact.Celsius != 20 || exact.Feeds[0].Plus+exact.Feeds[0].Minus != r.Feeds[0].Ohms || exact.Supplies[0].Volts != 5.1 || exact.Scales[1] != 1 {
		t.Errorf("without spread: %+v", exact)
	}
}

// Ohm and Kirchhoff: what a feed drops is its current times its resistance at the
// copper's temperature, the supply gives what the feed takes, and a dark run takes
// its pixels' idle current (180 of them behind A, 0.8 mA each).
func TestPlantObeysOhm(t *testing.T) {
	r := runtest.Parse(t, rack)
	for _, warmth := range []float64{20, 60, -10} {
		p := New(r, Spread{JointOhms: 0.006}, seeded(2))
		p.Celsius = warmth
		if err := p.Open(); err != nil {
			t.Fatal(err)
		}
		for step := range r.Steps {
			if err := p.Set(step); err != nil {
				t.Fatal(err)
			}
			near := survey.Visit{Quantity: run.Current, From: "near"}
			amps := p.True(near)
			drop := p.True(survey.Visit{Quantity: run.Voltage, From: "A+", To: "low.start+"}) +
				p.True(survey.Visit{Quantity: run.Voltage, From: "low.start-", To: "A-"})
			if want := amps * r.Feeds[0].Ohms * (1 + ladder.CopperTempCo*(warmth-20)); math.Abs(drop-want) > 1e-9 {
				t.Errorf("%g °C, step %d: the feed drops %g V, not %g", warmth, step, drop, want)
			}
			terminals := p.True(survey.Visit{Quantity: run.Voltage, From: "A+", To: "A-"})
			if want := 5.1 - 0.005*amps; math.Abs(terminals-want) > 1e-9 {
				t.Errorf("%g °C, step %d: %g V at the supply, not %g", warmth, step, terminals, want)
			}
			if step == 0 && math.Abs(amps-180*0.0008) > 0.001*180*0.0008 {
				t.Errorf("dark: %g A", amps)
			}
			if got := p.True(survey.Visit{Quantity: run.Temperature, From: "low"}); got != warmth {
				t.Errorf("the copper has %g °C, not %g", got, warmth)
			}
		}
	}
}

// Each value of a walk is within the meter's accuracy of the truth, with two counts
// for the last digit's wandering and rounding; steps and times follow one another.
func TestWalk(t *testing.T) {
	r := runtest.Parse(t, rack)
	visits := survey.Thorough(r)
	rng := seeded(3)
	p := New(r, UsualSpread, rng)
	list, err := p.Walk(visits, rng, noon)
	if err != nil {
		t.Fatal(err)
	}
	if len(list) != len(visits)*len(r.Steps) {
		t.Fatalf("%d readings of %d visits in %d steps", len(list), len(visits), len(r.Steps))
	}
	for i, x := range list {
		step, v := i/len(visits), visits[i%len(visits)]
		if x.Step != r.Steps[step].Name || x.From != v.From || x.To != v.To || x.Row != i+2 || !x.Time.Equal(noon.Add(time.Duration(i)*20*time.Second)) {
			t.Errorf("reading %d: %+v", i, x)
		}
		if err := p.Set(step); err != nil {
			t.Fatal(err)
		}
		truth := p.True(v)
		g := r.Meters[0].Ranges[r.Meters[0].Range(v.Quantity, truth)]
		if allowed := g.Fraction*math.Abs(truth) + (g.Counts+2)*g.Resolution; math.Abs(x.Value-truth) > allowed {
			t.Errorf("%v: shows %g, true %g, allowed ±%g", v, x.Value, truth, allowed)
		}
	}
	if _, err := p.Walk([]survey.Visit{{Quantity: run.Voltage, From: "low.start+", To: "hihg.end-"}}, rng, noon); err == nil || !strings.Contains(err.Error(), `"hihg.end-"`) {
		t.Error(err)
	}
}

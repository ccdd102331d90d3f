package nightly

import (
	"flag"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/calibrationtest"
	"ohmkeep/internal/simulate/months"
	"ohmkeep/internal/simulate/plant"
)

// What is expected of a drop at measured currents is what the network gives: for every
// element of a run whose two conductors are alike, in several temperatures and with
// aged pixels, within a part in ten thousand and what a wrong share of the load makes.
func TestExpectedDropsAreTheLadders(t *testing.T) {
	r := runtest.Load(t, "../elements/testdata/wall.toml")
	var places []run.Place
	for _, name := range []string{"A", "block", "low.start", "low.end", "middle.start", "middle.end", "high.start", "high.20", "high.end"} {
		p, _ := r.Place(name)
		places = append(places, p)
	}
	rng := rand.New(rand.NewPCG(1, 1))
	for _, warmth := range []float64{20, 45, -5} {
		p := calibrationtest.New(r, calibrationtest.Spread{}, rng)
		p.Shape = 0
		p.Celsius = warmth
		for i, j := range r.Joints {
			p.Joints[i] = ladder.Rails{Plus: j.Ohms / 2, Minus: j.Ohms / 2}
		}
		if err := p.Open(places...); err != nil {
			t.Fatal(err)
		}
		for _, aged := range []float64{1, 0.7} {
			levels := make([]map[string]float64, len(r.Reels))
			for i := range levels {
				levels[i] = r.Steps[0].Levels
			}
			if err := p.Show(levels, aged); err != nil {
				t.Fatal(err)
			}
			d := NewReader(r)
			if err := d.findElements(places, []bool{false, true, true}); err != nil {
				t.Fatal(err)
			}
			amps := []float64{math.NaN(), p.Amps(1), p.Amps(2)}
			for i := range d.elements {
				e := &d.elements[i]
				pair := func(at run.Place) float64 {
					return p.Volts(run.Point{Place: at, Rail: run.Plus}, run.Point{Place: at, Rail: run.Minus})
				}
				drop := pair(e.From) - pair(e.To)
				expected := e.Steps[0].Expected(amps, warmth)
				if !e.Steps[0].Known || math.Abs(drop-expected) > 2e-3*math.Abs(drop)+2e-5 {
					t.Errorf("%s %s at %g °C, pixels at %g: drops %g V, expected %g", e.Kind, e.Name, warmth, aged, drop, expected)
				}
			}
		}
	}
}

// No current is measured: nothing is known.
func TestWithoutCurrentsNothingIsKnown(t *testing.T) {
	r := runtest.Load(t, "../elements/testdata/wall.toml")
	d := NewReader(r)
	a, _ := r.Place("low.end")
	b, _ := r.Place("middle.start")
	if err := d.findElements([]run.Place{a, b}, make([]bool, 3)); err != nil {
		t.Fatal(err)
	}
	if len(d.elements) != 1 || d.elements[0].Steps[0].Known {
		t.Errorf("%+v", d.elements)
	}
}

var spring = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)

// dayOf reads a day's readings.
func dayOf(d *Reader, day int64, list []reading.Reading, sensed *Sensed) ([]Night, error) {
	for i := range list {
		d.Add(day, &list[i], sensed)
	}
	return d.Day(day, sensed)
}

func oneDay(t *testing.T, story months.Scenario, seed uint64) ([]Night, *run.Run, []reading.Reading) {
	t.Helper()
	r := runtest.Load(t, "../elements/testdata/wall.toml")
	story.Begin, story.Days, story.Check, story.CheckAt, story.Currents = spring, 1, "check", 3*time.Hour, true
	for list, err := range months.Days(r, story, seed) {
		if err != nil {
			t.Fatal(err)
		}
		nights, err := dayOf(NewReader(r), 20513, list, &Sensed{})
		if err != nil {
			t.Fatal(err)
		}
		return nights, r, list
	}
	return nil, nil, nil
}

func night(t *testing.T, nights []Night, name, step string) Night {
	t.Helper()
	for _, n := range nights {
		if n.Key.Name == name && n.Key.Step == step {
			return n
		}
	}
	t.Fatalf("no night of %s in step %q", name, step)
	return Night{}
}

// The slope of a feed is its resistance although two sensors differ by far more than
// its drop's rounding; copper's warming is taken off.
func TestSlopeOfAFeed(t *testing.T) {
	for seed := range uint64(10) {
		var truth float64
		warmth := 15.0
		story := months.Scenario{TemperatureRead: true, Sensed: []string{"A", "block", "low.start"}, Change: func(_ float64, p *plant.Plant, _ *rand.Rand) {
			p.Copper += warmth
			truth = p.Feeds[1].Plus + p.Feeds[1].Minus
		}}
		nights, _, _ := oneDay(t, story, seed)
		n := night(t, nights, "near", "")
		if far := math.Abs(n.Value.Ohms - truth); !n.Valid || !n.Value.TemperatureRead || far > 4*n.Value.Error+2.5*n.Value.CommonError {
			t.Errorf("seed %d: %g ± %g, ± %g in common; it is %g", seed, n.Value.Ohms, n.Value.Error, n.Value.CommonError, truth)
		}
		if n.Value.Error > 0.001 {
			t.Errorf("seed %d: ± %g Ω", seed, n.Value.Error)
		}
	}
}

// A sensor that reads nothing now and then is no contact that fails.
func TestAWrongReadingIsNoBurst(t *testing.T) {
	_, r, list := oneDay(t, months.Scenario{Sensed: []string{"A", "block", "low.start"}}, 6)
	for i := range list {
		if list[i].From == "low.start+" && i%5 == 0 {
			list[i].Value = 0
		}
	}
	nights, err := dayOf(NewReader(r), 20513, list, &Sensed{})
	if err != nil {
		t.Fatal(err)
	}
	if n := night(t, nights, "near", ""); n.Bursts != 0 || !n.Valid {
		t.Errorf("%+v", n)
	}
}

var warmDays = flag.Uint64("warmdays", 8, "simulated days on which the copper warms")

// Copper that warms by day is no contact that fails, although no temperature is read.
func TestAWarmDayIsNoBurst(t *testing.T) {
	for seed := range *warmDays {
		nights, _, _ := oneDay(t, months.Scenario{Sensed: []string{"block", "high.end"}, DayCycle: 18, Every: 5 * time.Minute}, seed)
		if n := night(t, nights, "far", ""); n.Bursts != 0 {
			t.Errorf("seed %d: %d bursts of %g Ω in %d rounds", seed, n.Bursts, n.BurstRise, n.Samples)
		}
	}
}

// A place that falls silent parts what is on its two sides for some weeks, and then no
// more.
func TestASilentPlaceIsForgotten(t *testing.T) {
	_, r, list := oneDay(t, months.Scenario{Sensed: []string{"low.start", "low.end", "middle.start"}}, 3)
	without := slices.DeleteFunc(slices.Clone(list), func(x reading.Reading) bool { return x.From == "low.end+" })
	d, sensed := NewReader(r), &Sensed{}
	for _, c := range []struct {
		day  int64
		list []reading.Reading
		want []string
	}{{20513, list, []string{"joint low-middle", "reel low"}}, {20540, without, nil}, {20513 + 61, without, []string{"path low.start-middle.start"}},
		{20513 + 62, list, []string{"joint low-middle", "reel low"}}} {
		nights, err := dayOf(d, c.day, c.list, sensed)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, n := range nights {
			got = append(got, string(n.Key.Kind)+" "+n.Key.Name)
		}
		slices.Sort(got)
		if !slices.Equal(got, c.want) {
			t.Errorf("day %d: %v, not %v", c.day, got, c.want)
		}
	}
}

// An animation changes nothing about a joint's value: the same check with other
// pictures between gives the same resistance and drop.
func TestAnimationsDoNotTouchAJoint(t *testing.T) {
	_, r, list := oneDay(t, months.Scenario{}, 4)
	var checks []reading.Reading
	for _, x := range list {
		if x.Step == "check" {
			checks = append(checks, x)
		}
	}
	read := func(list []reading.Reading) Night {
		nights, err := dayOf(NewReader(r), 20513, list, &Sensed{})
		if err != nil {
			t.Fatal(err)
		}
		return night(t, nights, "low-middle", "check")
	}
	with, without := read(list), read(checks)
	if with.Value != without.Value || with.Drop != without.Drop || math.IsNaN(with.Offset) || !math.IsNaN(without.Offset) {
		t.Errorf("%+v\nbeside\n%+v", with, without)
	}
}

// A steady current gives a step away only where it is seen long enough, is the step's,
// and the drops along the reels are the step's too.
func TestRecogniseAStepByItsCurrent(t *testing.T) {
	_, r, list := oneDay(t, months.Scenario{}, 5)
	var check []reading.Reading
	for _, x := range list {
		if x.Step == "check" {
			x.Step = ""
			check = append(check, x)
		}
	}
	hold := func(times int, change func(x *reading.Reading)) []reading.Reading {
		var out []reading.Reading
		for i := range times {
			for _, x := range check {
				x.Time = x.Time.Add(time.Duration(i) * 30 * time.Second)
				change(&x)
				out = append(out, x)
			}
		}
		return out
	}
	for _, c := range []struct {
		name   string
		times  int
		change func(x *reading.Reading)
		known  bool
	}{
		{"held", 8, func(*reading.Reading) {}, true},
		{"held for a minute", 3, func(*reading.Reading) {}, true},
		{"not held", 2, func(*reading.Reading) {}, false},
		{"another current", 8, func(x *reading.Reading) {
			if x.Quantity == run.Current {
				x.Value *= 1.4
			}
		}, false},
		{"another picture of the same current", 8, func(x *reading.Reading) {
			if x.From == "low.end+" || x.From == "middle.start+" {
				x.Value += 0.08
			}
		}, false},
	} {
		nights, err := dayOf(NewReader(r), 20513, hold(c.times, c.change), &Sensed{})
		if err != nil {
			t.Fatal(err)
		}
		if found := slices.ContainsFunc(nights, func(n Night) bool { return n.Key.Step == "check" }); found != c.known {
			t.Errorf("%s: known: %v", c.name, found)
		}
	}
}

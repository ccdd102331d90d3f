package loadlimit

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"ohmkeep/internal/network/limits"
	"ohmkeep/internal/run/runtest"
)

// base is an invented run of two reels; tests replace parts of it.
func base(strip, supply, feed, rest string) string {
	return `schema = 1
name = "invented"
[strip]
volts = 5.0
pixels_per_metre = 60
loop_milliohms_per_metre = 80.0
` + strip + `
[[supply]]
name = "A"
` + supply + `
[[reel]]
name = "west"
pixels = 240
[[reel]]
name = "north"
pixels = 300
[[feed]]
name = "near"
from = "A"
to = "west.start"
` + feed + `
[[step]]
name = "white"
red = 0.5
green = 0.5
blue = 0.5
` + rest
}

const (
	colours = "channel_milliamps = 12.0\nidle_milliamps = 1"
	strong  = "volts = 5.1\namps = 100"
	thick   = "milliohms = 1"
	lax     = "\n[limits]\nfeed_drop_percent = 100\ncolour_shift = 1\ndimming_percent = 100\n"
)

func circuit(t testing.TB, file string, allow Allowances) *Circuit {
	t.Helper()
	r := runtest.Parse(t, file)
	mix, _ := MixOf(r.Steps[0])
	c, err := New(Stated(r), mix, allow)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// Above every knee the current is that of all pixels, I(level) = 540·(1 mA +
// 36 mA·level), so what binds does so at a level that can be written down: Ohm's
// law, nothing else.
func TestEachCriterionBindsWhereOhmsLawSays(t *testing.T) {
	level := func(amps float64) float64 { return (amps - 0.54) / (540 * 0.036) }
	beyond := func(amps float64) float64 { return (amps - 0.3) / (300 * 0.036) } // through the joint
	copper := "\nidle_milliamps = 1\nchannel_milliamps = 12\n"
	for _, c := range []struct {
		name      string
		file      string
		allow     Allowances
		criterion limits.Criterion
		subject   string
		want      float64
	}{
		{"drop of 3 % of 5.1 V over 51 mΩ", base(copper, strong, "milliohms = 51", "\n[limits]\nfeed_drop_percent = 3\ncolour_shift = 1\ndimming_percent = 100"),
			Allowances{JointWatts: 9}, limits.FeedDrop, "near", level(3)},
		{"80 % of a fuse of 2 A (NFPA 70, 215.3, from memory)", base(copper, strong, "milliohms = 1\nfuse_amps = 2", lax), Allowances{JointWatts: 9}, limits.Fuse, "near", level(1.6)},
		{"80 % of 3 A, the rating of 0.5 mm² (IEC 60335-1 Table 11)", base(copper, strong, `metres = 0.1
conductor = "0.5 mm2"`, lax), Allowances{JointWatts: 9}, limits.Ampacity, "near", level(2.4)},
		{"80 % of 2.5 A", base(copper, "volts = 5.1\namps = 2.5", thick, lax), Allowances{JointWatts: 9}, limits.Supply, "A", level(2)},
		{"0.04 W in 40 mΩ is 1 A", base(copper, strong, thick, "[[joint]]\nbetween = [\"west\", \"north\"]\nmilliohms = 40\n"+lax),
			Allowances{JointWatts: 0.04}, limits.JointHeat, "west-north", beyond(1)},
	} {
		rating, err := circuit(t, c.file, c.allow).HighestLevel()
		if err != nil {
			t.Fatal(err)
		}
		if rating.Binding.Criterion != c.criterion || rating.Binding.Subject != c.subject {
			t.Errorf("%s: %v of %q binds", c.name, rating.Binding.Criterion, rating.Binding.Subject)
		}
		if rating.Level > c.want*(1+1e-9) || rating.Level < c.want*(1-Precision-1e-9) {
			t.Errorf("%s: level %.6g, want %.6g to 0.1 %%", c.name, rating.Level, c.want)
		}
	}
}

// Colour and brightness bind where the volts of the last pixel have fallen to those
// at which its light is off by the limit. The volts there are those of the closed
// form of an end-fed line of equal loads, drop = i·r·N(N−1)/2 (Mehta, Principles of
// Power System, ch. 13, from memory), as long as the others still draw in full: with
// a single lit channel whose knee only the last pixels reach, within a percent.
func TestLightBinds(t *testing.T) {
	file := `schema = 1
name = "invented"
[strip]
volts = 5
pixels_per_metre = 60
channels = ["red", "blue"]
channel_milliamps = 10
loop_milliohms_per_metre = 80
forward_volts = { red = 1.0, blue = 2.0 }
knee_volts = { red = 1.5, blue = 4.0 }
[[supply]]
name = "A"
volts = 5
amps = 100
[[reel]]
name = "one"
pixels = 601
[[feed]]
name = "near"
from = "A"
to = "one.start"
milliohms = 0.001
[[step]]
name = "blue"
blue = 1
[limits]
feed_drop_percent = 50
`
	// With no light to lose, the limit is left where the last pixel comes to its knee.
	r := runtest.Parse(t, file+"dimming_percent = 0.001\ncolour_shift = 1\n")
	mix, _ := MixOf(r.Steps[0])
	c, err := New(Stated(r), mix, Allowances{JointWatts: 9, DataVolts: 5})
	if err != nil {
		t.Fatal(err)
	}
	rating, err := c.HighestLevel()
	if err != nil {
		t.Fatal(err)
	}
	segment, n := 0.08/60, 601.0
	want := 1.0 / (0.010 * segment * n * (n - 1) / 2) // the last pixel at its knee, 1 V below the supply
	if rating.Binding.Criterion != limits.Brightness || rating.Binding.Subject != "one" || rating.Binding.Pixel != 601 {
		t.Errorf("%+v binds", rating.Binding)
	}
	if math.Abs(rating.Level/want-1) > 0.01 {
		t.Errorf("level %.5g, closed form %.5g", rating.Level, want)
	}
}

// A pixel takes 0.7 of its own supply for a high. Controllers of 3.3 V are short of
// it at once with 5.1 V (3.57 V; 0.7·VDD from memory of JESD12-6), at any level.
func TestDataOfTheFirstPixel(t *testing.T) {
	rating, err := circuit(t, base(colours, strong, thick, lax), Allowances{DataVolts: 3.3}).HighestLevel()
	if err != nil {
		t.Fatal(err)
	}
	if !rating.Dark() || rating.Binding.Criterion != limits.DataLevel || rating.Binding.Subject != "west" || rating.Binding.Pixel != 1 {
		t.Errorf("%+v", rating)
	}
	if u := rating.Binding; math.Abs(u.Value-0.7*5.1) > 0.01 || math.Abs(u.Limit-3.3) > 0.01 {
		t.Errorf("takes %g of %g V", u.Value, u.Limit)
	}
}

// Behind a parted plus the next pixel runs on another supply: a starved sender does
// not reach 0.7 of what the strong one gives.
func TestDataOverAPartedPlus(t *testing.T) {
	file := base("channel_milliamps = 12\nknee_volts = 2\nforward_volts = 1", "volts = 5.1\namps = 100\n[[supply]]\nname = \"B\"\nvolts = 5.2\namps = 100", "milliohms = 600",
		"[[joint]]\nbetween = [\"west\", \"north\"]\nplus = \"cut\"\n[[feed]]\nname = \"far\"\nfrom = \"B\"\nto = \"north.start\"\nmilliohms = 1\n"+lax)
	c := circuit(t, file, Allowances{JointWatts: 9})
	rating, err := c.HighestLevel()
	if err != nil {
		t.Fatal(err)
	}
	if b := rating.Binding; b.Criterion != limits.DataLevel || b.Subject != "north" || b.Pixel != 1 {
		t.Errorf("%+v binds at %g", b, rating.Level)
	}
	if rating.Level <= 0 || rating.Level >= 1 {
		t.Errorf("level %g", rating.Level)
	}
}

// Nothing binds: full level.
func TestNothingBinds(t *testing.T) {
	rating, err := circuit(t, base("channel_milliamps = 0.1", strong, thick, ""), Allowances{}).HighestLevel()
	if err != nil {
		t.Fatal(err)
	}
	if rating.Level != 1 || rating.Binding.Subject != "" || rating.Dark() {
		t.Errorf("%+v", rating)
	}
}

// hump is a load whose supply current has a hump between two octaves, at 0.36, and
// whose feed's drop reaches its limit at full level.
func hump(level float64) (*State, error) {
	s := &State{Level: level}
	for i := range s.Utilisations {
		s.Utilisations[i].Criterion = limits.Criterion(i)
	}
	height := 0.9 - 0.1*level + 0.3*math.Exp(-math.Pow((level-0.36)/0.06, 2))
	s.Utilisations[limits.Supply] = limits.Utilisation{Criterion: limits.Supply, Subject: "A", Value: height, Limit: 1}
	s.Utilisations[limits.FeedDrop] = limits.Utilisation{Criterion: limits.FeedDrop, Subject: "near", Value: level, Limit: 1.01}
	return s, nil
}

// A criterion that falls with the level is looked at more closely, and what is broken
// between two levels that hold is found.
func TestAHumpBetweenLevelsIsFound(t *testing.T) {
	rating, err := climb(hump, false)
	if err != nil {
		t.Fatal(err)
	}
	if rating.Level < 0.2 || rating.Level > 0.36 || rating.Binding.Criterion != limits.Supply || !slices.Contains(rating.NonMonotonic, limits.Supply) {
		t.Errorf("%g, %v binds", rating.Level, rating.Binding.Criterion)
	}
}

// alone is one regulated pixel of 12 W at 12 V behind 4 Ω.
const alone = `schema = 1
name = "invented"
[strip]
volts = 12
pixels_per_metre = 1
driver = "regulated"
channels = ["white"]
channel_milliamps = 1000
knee_volts = 3
[[supply]]
name = "A"
volts = 12
amps = 100
[[reel]]
name = "one"
pixels = 1
[[feed]]
name = "near"
from = "A"
to = "one.start"
milliohms = 4000
[[step]]
name = "white"
white = 0.5
[limits]
feed_drop_percent = 100
`

// A constant power P behind a resistance R has no balance above P·R = V²/4 (maximum
// power transfer): of 12 W at full level that is 9 W, a level of 0.75. Above it the
// pixel drops out.
func TestRegulatedPixelRunsAwayAtTheMaximumPower(t *testing.T) {
	rating, err := circuit(t, alone, Allowances{}).HighestLevel()
	if err != nil {
		t.Fatal(err)
	}
	if rating.Level > 0.75*(1+1e-6) || rating.Level < 0.75*(1-2*Precision) {
		t.Errorf("level %g, want 0.75", rating.Level)
	}
	if b := rating.Binding.Criterion; b != limits.SteadyState {
		t.Errorf("%v binds", b)
	}
}

// A run is judged as it is when switched on in the dark and turned up, not as it is
// left by a load that it broke down under.
func TestABreakdownIsNotRemembered(t *testing.T) {
	c := circuit(t, alone, Allowances{})
	volts := func(level float64) float64 {
		s, err := c.Solve(level)
		if err != nil {
			t.Fatal(err)
		}
		return s.LeastVolt
	}
	before := volts(0.74)
	if broken := volts(1); broken > 3 {
		t.Fatalf("holds %g V at full level", broken)
	}
	// V/2 + √(V²/4 − P·R), of 8.88 W behind 4 Ω.
	if after := volts(0.74); after != before || math.Abs(after-(6+math.Sqrt(36-0.74*12*4))) > 1e-6 {
		t.Errorf("%g V after, %g V before", after, before)
	}
}

// Of runs drawn at random: everything holds at the highest level and at any lower
// one, and something is broken 0.3 % above.
func TestHighestIsTheHighest(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 8))
	for range 60 {
		driver := [...]string{"driver = \"linear\"", "driver = \"resistor\"", "driver = \"regulated\""}[rng.IntN(3)]
		strip := fmt.Sprintf("%s\nchannel_milliamps = %g\nidle_milliamps = %g", driver, 2+15*rng.Float64(), rng.Float64())
		rest := ""
		if rng.IntN(2) == 0 {
			rest = fmt.Sprintf("[[feed]]\nname = \"far\"\nfrom = \"A\"\nto = \"north.end\"\nmilliohms = %g\nfuse_amps = %g\n", 300*rng.Float64(), 1+9*rng.Float64())
		}
		rest += fmt.Sprintf("[limits]\nfeed_drop_percent = %g\ncolour_shift = %g\ndimming_percent = 40\n", 2+30*rng.Float64(), 0.002+0.05*rng.Float64())
		file := base(strip, fmt.Sprintf("volts = 5.1\namps = %g\nmilliohms = 5", 2+20*rng.Float64()), fmt.Sprintf("milliohms = %g", 200*rng.Float64()), rest)
		c := circuit(t, file, Allowances{JointWatts: 0.05 + rng.Float64()})
		rating, err := c.HighestLevel()
		if err != nil {
			t.Fatal(err)
		}
		holds := func(level float64) bool {
			s, err := c.Solve(level)
			if err != nil {
				t.Fatal(err)
			}
			return s.Holds()
		}
		if rating.Dark() {
			if holds(0) {
				t.Fatalf("holds in the dark after all\n%s", file)
			}
			continue
		}
		for k := range 40 {
			if level := rating.Level * float64(k+1) / 40; !holds(level) {
				t.Fatalf("broken at %g, below %g\n%s", level, rating.Level, file)
			}
		}
		if rating.Level < 1 && holds(rating.Level*1.003) {
			t.Fatalf("%g holds above %g\n%s", rating.Level*1.003, rating.Level, file)
		}
	}
}

// Regulated pixels draw more as their volts fall: past some level the currents run
// away. Well above it next to nothing flows, so currents alone would seem safe again.
func TestRunawayIsNotSafeAgain(t *testing.T) {
	file := base("driver = \"regulated\"\nchannel_milliamps = 20\nidle_milliamps = 0.5", strong, "milliohms = 100", "[limits]\nfeed_drop_percent = 100\n")
	c := circuit(t, file, Allowances{JointWatts: 99})
	rating, err := c.HighestLevel()
	if err != nil {
		t.Fatal(err)
	}
	if b := rating.Binding.Criterion; rating.Level <= 0 || rating.Level > 0.5 || !slices.Contains([]limits.Criterion{limits.SteadyState, limits.Brightness, limits.FeedDrop, limits.Colour, limits.DataLevel}, b) {
		t.Errorf("%v binds at %g", b, rating.Level)
	}
	for _, level := range []float64{0.6, 0.8, 1} {
		s, err := c.Solve(level)
		if err != nil {
			t.Fatal(err)
		}
		if s.Holds() {
			t.Errorf("holds at %g, with %g V at the far end", level, s.LeastVolt)
		}
	}
}

// Where a criterion falls with the level (data from 3.6 V logic gets easier as the
// first pixel's volts fall), the search tries more levels and names the criterion.
func TestTurnsAreTold(t *testing.T) {
	file := base(colours, strong, "milliohms = 60", lax)
	rating, err := circuit(t, file, Allowances{DataVolts: 3.6, JointWatts: 9}).HighestLevel()
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Contains(rating.NonMonotonic, limits.DataLevel) {
		t.Errorf("turns: %v", rating.NonMonotonic)
	}
}

// Steps of one colour are one mix; dark ones are none.
func TestMixes(t *testing.T) {
	r := runtest.Parse(t, base(colours, strong, thick, "[[step]]\nname = \"dark\"\n[[step]]\nname = \"dim\"\nred = 0.1\ngreen = 0.1\nblue = 0.1\n[[step]]\nname = \"red\"\nred = 0.2\n"))
	list := Mixes(r)
	if len(list) != 2 || list[0].Name != "white, dim" || list[0].Highest != 0.5 || list[1].Levels["red"] != 1 || len(list[1].Levels) != 1 {
		t.Fatalf("%+v", list)
	}
	// 540 pixels of 1 mA and 3 × 12 mA at half level.
	if amps := list[0].Limiter(r, 0.5); math.Abs(amps-540*0.019) > 1e-9 {
		t.Errorf("limiter %g A", amps)
	}
}

func BenchmarkHighest(b *testing.B) {
	c := circuit(b, base(colours, strong, "milliohms = 100", ""), Allowances{})
	for b.Loop() {
		if _, err := c.HighestLevel(); err != nil {
			b.Fatal(err)
		}
	}
}

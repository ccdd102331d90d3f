package prediction

import (
	"math"
	"strings"
	"testing"

	"ohmkeep/internal/run/runtest"
)

// base is an invented run; tests replace parts of it.
var base = runtest.Strip("invented") + "[[reel]]\nname = \"west\"\npixels = 240\n" + runtest.Reels(5, "north") +
	runtest.Feed("west.start", "18 AWG") + "fuse_amps = 5\n[[step]]\nname = \"dark\"\n" + runtest.White("white 5 %", 0.05) + runtest.White("white", 1)

// parallel has two supplies at either end, of one voltage: both deliver in the lit step.
var parallel = base + runtest.Supply("B", 5.1, 20, 0) + runtest.FeedFrom("far", "B", "north.end", 2, "18 AWG")

func predict(t *testing.T, file, step string) *Prediction {
	t.Helper()
	r := runtest.Parse(t, file)
	i := r.StepIndex(step)
	if i < 0 {
		t.Fatalf("no step %q", step)
	}
	p, err := Make(r, r.Steps[i])
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// 540 pixels of 3 × 12 mA × 5 % + 0.8 mA draw 1.404 A at any voltage above
// the knee; the rest is Ohm's law.
func TestCurrentsAndDropsByHand(t *testing.T) {
	p := predict(t, base, "white 5 %")
	const amps = 540 * (3*0.012*0.05 + 0.0008)
	near := p.Feeds[0]
	// 18 AWG by ASTM B258: 0.127 mm × 92^((36−18)/39), 1/58 Ω·mm²/m (IEC 60028).
	d := 0.127 * math.Pow(92, 18.0/39)
	loop := 2 * 2.5 / 58 / (math.Pi / 4 * d * d)
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"supply amps", p.Supplies[0].Amps, amps},
		{"supply volts", p.Supplies[0].Volts, 5.1 - 0.005*amps},
		{"feed ohms", near.Ohms, loop},
		{"feed drop", near.Drop, amps * loop},
		{"first pixel", p.Reels[0].Pixels[0].Volts, 5.1 - (0.005+loop)*amps},
		{"ground lift", p.Reels[0].Pixels[0].Minus, loop / 2 * amps},
		{"joint amps", p.Joints[0].Amps, amps * 300 / 540},
		{"joint drop", p.Joints[0].Drop, amps * 300 / 540 * 0.003},
		{"pixel amps", p.Reels[1].Pixels[299].Amps, amps / 540},
	} {
		if math.Abs(c.got-c.want) > 1e-9 {
			t.Errorf("%s: %.9g, want %.9g", c.name, c.got, c.want)
		}
	}
	if len(p.Reels[0].Pixels) != 240 || len(p.Reels[1].Pixels) != 300 {
		t.Errorf("%d and %d pixels", len(p.Reels[0].Pixels), len(p.Reels[1].Pixels))
	}
}

// The wire's part of a feed and the strip's copper follow the temperature, a joint
// does not: IEC 60028, 0.393 %/K.
func TestWarmthRaisesCopperOnly(t *testing.T) {
	cold := predict(t, base, "white 5 %")
	warm := predict(t, strings.Replace(base, "[strip]", "ambient_celsius = 45\n[strip]", 1), "white 5 %")
	if got, want := warm.Feeds[0].Drop/cold.Feeds[0].Drop, 1+0.00393*25; math.Abs(got-want) > 1e-9 {
		t.Errorf("feed drop rose by %.6f, want %.6f", got, want)
	}
	if math.Abs(warm.Feeds[0].Ohms-cold.Feeds[0].Ohms) > 1e-15 {
		t.Error("a resistance is given at another temperature than 20 °C")
	}
	if got := warm.Joints[0].Drop / cold.Joints[0].Drop; math.Abs(got-1) > 1e-9 {
		t.Errorf("joint drop rose by %.6f", got)
	}
}

func TestWarnings(t *testing.T) {
	swap := func(pairs ...string) string { return strings.NewReplacer(pairs...).Replace(base) }
	for _, c := range []struct {
		name, file, step, want string
		absent                 bool
	}{
		{"supply above 80 %", swap("amps = 20", "amps = 1.6"), "white 5 %", "supply A: 1.40 A is 88 % of its 1.6 A", false},
		{"supply at 70 %", swap("amps = 20", "amps = 2"), "white 5 %", "supply A", true},
		{"fuse", swap("fuse_amps = 5", "fuse_amps = 1"), "white 5 %", "feed near: 1.40 A is 140 % of its 1 A fuse; keep below 80 % for hours of use", false},
		{"fuse above 80 %", swap("fuse_amps = 5", "fuse_amps = 1.6"), "white 5 %", "feed near: 1.40 A is 88 % of its 1.6 A fuse", false},
		{"fuse at 70 %", swap("fuse_amps = 5", "fuse_amps = 2"), "white 5 %", "fuse", true},
		{"wire above 80 %", swap(`"18 AWG"`, `"0.25 mm2"`), "white 5 %", "feed near: 1.40 A is 94 % of the 1.5 A of 0.25 mm2", false},
		{"fuse holds", base, "white 5 %", "fuse", true},
		{"ampacity", swap(`"18 AWG"`, `"24 AWG"`, "volts = 5.0", "volts = 5.0\nknee_volts = 1.5\nforward_volts = 1.0"), "white", "24 AWG (", false},
		{"ampacity holds", base, "white 5 %", "of 18 AWG", true},
		{"drop above its limit", swap("metres = 2.5", "metres = 4"), "white 5 %", "feed near: 235 mV drop is above its limit of 153 mV", false},
		{"drop within", base, "white 5 %", "above its limit", true},
		{"knee", base, "white", "of 300 pixels are below the 3.60 V that", false},
		{"no knee", base, "white 5 %", "below", true},
		{"joint too warm", base + "[limits]\njoint_milliohms = 600\n", "white 5 %", "joint west-north: at its limit of 600 mΩ it would dissipate 0.37 W at 0.78 A", false},
		{"joint cool", base, "white 5 %", "dissipate", true},
		{"data", base, "dark", "data into west: its first pixel takes 3.54 V for a high (0.7 × 5.05 V) and its ground is lifted by 23 mV: 3.3 V logic is 0.26 V short, 5 V logic has 1.44 V to spare", false},
		{"data of a 12 V strip", swap("volts = 5.0", "volts = 12", "volts = 5.1", "volts = 12"), "dark", "data", true},
		{"copper not stated", swap("loop_milliohms_per_metre = 80.0\n", ""), "dark", "reel west: loop_milliohms_per_metre is not stated", false},
		{"regulated, held", swap("volts = 5.0", "volts = 12", "linear", "regulated", "volts = 5.1", "volts = 12"), "white 5 %", "run", true},
		{"regulated, run away", swap("volts = 5.0", "volts = 12", "linear", "regulated", "volts = 5.1", "volts = 12"), "white", "reel north runs away: its regulated pixels draw more current as their volts fall", false},
		{"regulated, said once", swap("volts = 5.0", "volts = 12", "linear", "regulated", "volts = 5.1", "volts = 12"), "white", "pixels are below the", true},
		{"supplies in parallel", base + runtest.Supply("B", 4.4, 20, 0) + runtest.FeedFrom("far", "B", "north.end", 2, "18 AWG"), "dark", "would flow back into it", false},
		{"supplies whose plus rails meet, with no current back", parallel, "white 5 %", "the plus rails of supplies A and B meet", false},
		{"no current flows back there", parallel, "white 5 %", "flow back", true},
		{"one supply", base, "white 5 %", "meet", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			all := strings.Join(predict(t, c.file, c.step).Warnings, "\n")
			if strings.Contains(all, c.want) == c.absent {
				t.Errorf("warnings:\n%s\nmust hold %q: %v", all, c.want, !c.absent)
			}
		})
	}
}

// Two supplies that share only the minus copper: each feeds its own reel.
func TestCutPlusKeepsSuppliesApart(t *testing.T) {
	file := base + runtest.Supply("B", 4.9, 20, 0) + "[[joint]]\nbetween = [\"west\", \"north\"]\nplus = \"cut\"\n" +
		runtest.FeedFrom("far", "B", "north.end", 2, "18 AWG")
	p := predict(t, file, "white 5 %")
	per := 3*0.012*0.05 + 0.0008
	if got, want := p.Supplies[0].Amps, 240*per; math.Abs(got-want) > 1e-9 {
		t.Errorf("A gives %.6f A, its own reel draws %.6f", got, want)
	}
	if got, want := p.Supplies[1].Amps, 300*per; math.Abs(got-want) > 1e-9 {
		t.Errorf("B gives %.6f A, its own reel draws %.6f", got, want)
	}
	if math.Abs(p.Joints[0].Amps) > 1e-9 {
		t.Errorf("%g A cross the minus of the cut joint", p.Joints[0].Amps)
	}
	if j := p.Run.Joints; len(j) != 1 || !j[0].PlusCut {
		t.Errorf("joints %+v", j)
	}
}

package scaffold

import (
	"bytes"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
)

func TestRefused(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Options)
		want   string
	}{
		{"no name", func(o *Options) { o.Name = "" }, "name: \"\" is empty"},
		{"quotation marks in the name", func(o *Options) { o.Name = `a "b"` }, "name: "},
		{"control character in the name", func(o *Options) { o.Name = "a\x00\nb" }, "name: "},
		{"mains", func(o *Options) { o.Volts = 230 }, "strip.volts: 230 is out of range"},
		{"no number", func(o *Options) { o.Volts = math.NaN() }, "volts: is not a finite number"},
		{"endless reel", func(o *Options) { o.ReelMetres = []float64{1, math.Inf(1)} }, "reel metres: is not a finite number"},
		{"no reel", func(o *Options) { o.ReelMetres = nil }, "reel: is missing"},
		{"reel of no length", func(o *Options) { o.ReelMetres = []float64{5, 0} }, "reel.metres: 0 is out of range"},
		{"wrong driver", func(o *Options) { o.Driver = "liner" }, `did you mean "linear"?`},
		{"wrong wire", func(o *Options) { o.Conductor = "18" }, "feed.conductor: "},
		{"wrong metal", func(o *Options) { o.Material = "coper" }, `feed.material: |did you mean "copper"?`},
		{"wrong feed", func(o *Options) { o.Fed = 7 }, "fed: is not a way to feed a run (known: start, both, middle)"},
		{"negative feed", func(o *Options) { o.FeedMetres = -1 }, "feed.metres: -1 is out of range"},
		{"supply too small", func(o *Options) { o.SupplyAmps = 0.1 }, "supply.amps: 1 % white draws|larger supply"},
	} {
		o := Usual()
		c.change(&o)
		var out bytes.Buffer
		err := Write(&out, o)
		if err == nil || out.Len() > 0 {
			t.Errorf("%s: %v, %d bytes written", c.name, err, out.Len())
			continue
		}
		for _, part := range strings.Split(c.want, "|") {
			if !strings.Contains(err.Error(), part) {
				t.Errorf("%s: %v does not hold %q", c.name, err, part)
			}
		}
	}
}

// TestUsual: the defaults give a valid run file with its cautions.
func TestUsual(t *testing.T) {
	var out bytes.Buffer
	if err := Write(&out, Usual()); err != nil {
		t.Fatal(err)
	}
	page := strings.Join(strings.Fields(strings.ReplaceAll(out.String(), "#", "")), " ")
	for _, caution := range []string{
		"mains terminals belongs to licensed people", "power off before you solder", "the code decides",
		"Never join the plus of two supplies", "fuse at the supply's end", "cable and connectors are rated",
	} {
		if !strings.Contains(page, caution) {
			t.Errorf("no word of %q in\n%s", caution, out.String())
		}
	}
	r := runtest.Parse(t, out.String())
	// 18 AWG is rated 6 A, so a 5 A fuse; 4/5 of that is 4 A; 300 pixels draw
	// 0.24 A dark and 10.8 A white more, so 20 % (2.4 A) fits and 40 % does not.
	if r.Feeds[0].Fuse != 5 || len(r.Steps) != 3 || r.Steps[0].Name != "dark" || r.Steps[1].Name != "white 5 %" || r.Steps[2].Name != "white 20 %" || r.Limits.DesignStep != 2 {
		t.Errorf("%+v %+v", r.Feeds, r.Steps)
	}
}

// drawn returns random options, each valid by itself.
func drawn(rng *rand.Rand) Options {
	pick := func(all ...string) string { return all[rng.IntN(len(all))] }
	upTo := func(low, high float64) float64 { return math.Round((low+rng.Float64()*(high-low))*100) / 100 }
	o := Options{
		Name: pick("Hall", "Küche 2 'links'", `back\slash`, "日本 # = []"), Volts: []float64{5, 12, 24, 3.3}[rng.IntN(4)],
		PixelsPerMetre: []float64{10, 30, 60, 144, 7.5}[rng.IntN(5)], Driver: pick("linear", "resistor", "regulated"),
		For: pick("", "Owner \"X\""), Place: pick("", "Flur, 2. Stock"), Installer: pick("", `work\shop`),
		White: rng.IntN(2) == 0, ChannelMilliamps: upTo(1, 20), IdleMilliamps: upTo(0, 1.5), LoopMilliohms: float64(rng.IntN(3)) * 40,
		SupplyAmps: upTo(0.5, 60), Fed: Fed(rng.IntN(3)), FeedMetres: upTo(0, 20), FarMetres: upTo(0, 20),
		Conductor: pick("18 AWG", "24 AWG", "1/0 AWG", "0.75 mm2", "2.5 mm²", "0.14mm2"), Material: pick("", "copper", "cca", "aluminium"), Fine: rng.IntN(2) == 0,
	}
	o.SupplyVolts = upTo(o.Volts*0.95, o.Volts*1.1)
	for range 1 + rng.IntN(6) {
		o.ReelMetres = append(o.ReelMetres, upTo(0.5, 6))
	}
	return o
}

// TestOptionsAreKept: a run file is either refused because of its supply or fuses, or describes
// the run of the options, with steps that supply and fuses can carry.
func TestOptionsAreKept(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	written := 0
	for range 800 {
		o := drawn(rng)
		var out bytes.Buffer
		if err := Write(&out, o); err != nil {
			if !strings.HasPrefix(err.Error(), "supply.amps: ") {
				t.Errorf("%+v: %v", o, err)
			}
			continue
		}
		written++
		r := runtest.Parse(t, out.String())
		check(t, o, r)
	}
	if written < 200 {
		t.Errorf("only %d of 800 were written", written)
	}
}

func check(t *testing.T, o Options, r *run.Run) {
	t.Helper()
	if i := r.Installation; i.For != o.For || i.Place != o.Place || i.Installer != o.Installer {
		t.Errorf("%+v became %+v", o, i)
	}
	ok := func(what string, holds bool) {
		t.Helper()
		if !holds {
			t.Errorf("%s of %+v: %+v", what, o, r)
		}
	}
	near := func(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Max(1, math.Abs(b)) }
	ok("name", r.Name == o.Name)
	ok("supply", len(r.Supplies) == 1 && r.Supplies[0].Volts == o.SupplyVolts && r.Supplies[0].Amps == o.SupplyAmps)
	ok("reels", len(r.Reels) == len(o.ReelMetres) && len(r.Joints) == len(r.Reels)-1)
	pixels, channels := 0, 3
	if o.White {
		channels = 4
	}
	for i, reel := range r.Reels {
		s := reel.Strip
		ok("pixels", near(float64(reel.Pixels), math.Round(o.ReelMetres[i]*o.PixelsPerMetre)))
		ok("strip", s.Volts == o.Volts && s.PixelsPerMetre == o.PixelsPerMetre && s.Driver.String() == o.Driver && near(s.LoopOhms*1000, o.LoopMilliohms))
		ok("channels", len(s.Channels) == channels && near(s.Channels[0].Amps*1000, o.ChannelMilliamps) && near(s.Idle*1000, o.IdleMilliamps))
		pixels += reel.Pixels
	}
	first, last := r.Feeds[0], r.Feeds[len(r.Feeds)-1]
	share := 1.0
	switch o.Fed {
	case Start:
		ok("feed", len(r.Feeds) == 1 && r.PlaceName(first.To) == "R1.start")
	case Both:
		ok("feeds", len(r.Feeds) == 2 && r.PlaceName(first.To) == "R1.start" && last.To == run.Place{Kind: run.AtReel, Index: len(r.Reels) - 1, Pixel: r.Reels[len(r.Reels)-1].Pixels})
		ok("far feed", last.Length == o.FarMetres)
		share = uneven
	case Middle:
		before := first.To.Pixel
		for _, reel := range r.Reels[:first.To.Index] {
			before += reel.Pixels
		}
		ok("middle", len(r.Feeds) == 1 && before == (pixels+1)/2)
	}
	ok("feed", first.Length == o.FeedMetres && first.Conductor == o.Conductor)
	ok("fuse", first.Ampacity == 0 || first.Fuse <= first.Ampacity)
	ok("design step", r.Limits.DesignStep == len(r.Steps)-1 && r.Limits.DesignStep > 0)
	for _, s := range r.Steps {
		drawn := float64(pixels) * o.IdleMilliamps / 1000
		for _, level := range s.Levels {
			drawn += float64(pixels) * level * o.ChannelMilliamps / 1000
		}
		ok("current of step "+s.Name, drawn <= o.SupplyAmps && (first.Fuse == 0 || drawn*share <= first.Fuse))
		ok("levels", s.Name == "dark" || len(s.Levels) == channels)
	}
}

package planttest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runfile"
	"ohmkeep/internal/simulate/plant"
)

// Kind is a kind of run: how it is fed and what its pixels are.
type Kind struct {
	Name      string
	volts     float64
	driver    string
	channels  []string
	density   float64 // pixels a metre
	milliamps float64 // of a channel
	reels     []string
	branches  map[string]string // reels that follow another than the one before
	junctions []string
	feeds     []feed
	cut       string // the joint whose plus is parted; the second supply is named B
}

type feed struct{ name, from, to string }

var (
	threeColours = []string{"red", "green", "blue"}
	fourColours  = []string{"red", "green", "blue", "white"}
	whiteOnly    = []string{"white"}
)

// Kinds returns the kinds of run that are drawn: an invented dozen.
func Kinds() []Kind {
	return []Kind{
		{Name: "5 V fed at one end", volts: 5, driver: "linear", channels: threeColours, density: 60, milliamps: 12,
			reels: []string{"alcove", "bay", "cove"}, feeds: []feed{{"near", "A", "alcove.start"}}},
		{Name: "5 V fed at both ends", volts: 5, driver: "linear", channels: threeColours, density: 60, milliamps: 12,
			reels: []string{"alcove", "bay", "cove"}, feeds: []feed{{"near", "A", "alcove.start"}, {"far", "A", "cove.end"}}},
		{Name: "5 V four colours, fed within a reel", volts: 5, driver: "linear", channels: fourColours, density: 60, milliamps: 14,
			reels: []string{"alcove", "bay", "cove"}, feeds: []feed{{"middle", "A", "bay.60"}}},
		{Name: "5 V through a block to both ends", volts: 5, driver: "linear", channels: threeColours, density: 30, milliamps: 12,
			reels: []string{"alcove", "bay", "cove", "door"}, junctions: []string{"block"},
			feeds: []feed{{"trunk", "A", "block"}, {"left", "block", "alcove.start"}, {"right", "block", "door.end"}}},
		{Name: "5 V with a branch", volts: 5, driver: "linear", channels: threeColours, density: 60, milliamps: 12,
			reels: []string{"alcove", "bay", "cove"}, branches: map[string]string{"cove": "alcove"},
			feeds: []feed{{"near", "A", "alcove.start"}}},
		{Name: "12 V fed at both ends", volts: 12, driver: "linear", channels: threeColours, density: 20, milliamps: 12,
			reels: []string{"alcove", "bay", "cove"}, feeds: []feed{{"near", "A", "alcove.start"}, {"far", "A", "cove.end"}}},
		{Name: "12 V two supplies, plus parted between", volts: 12, driver: "linear", channels: threeColours, density: 30, milliamps: 15,
			reels: []string{"alcove", "bay", "cove", "door"}, cut: "bay-cove",
			feeds: []feed{{"near", "A", "alcove.start"}, {"far", "B", "door.end"}}},
		{Name: "12 V resistors, fed within a reel", volts: 12, driver: "resistor", channels: threeColours, density: 20, milliamps: 15,
			reels: []string{"alcove", "bay", "cove"}, feeds: []feed{{"middle", "A", "bay.21"}}},
		{Name: "12 V ring", volts: 12, driver: "linear", channels: threeColours, density: 30, milliamps: 12,
			reels: []string{"alcove", "bay", "cove", "door"}, junctions: []string{"corner"},
			feeds: []feed{{"trunk", "A", "corner"}, {"first", "corner", "alcove.start"}, {"closing", "corner", "door.end"}}},
		{Name: "24 V resistors, fed at one end", volts: 24, driver: "resistor", channels: whiteOnly, density: 20, milliamps: 20,
			reels: []string{"alcove", "bay", "cove"}, feeds: []feed{{"near", "A", "alcove.start"}}},
		{Name: "24 V regulated, fed at both ends", volts: 24, driver: "regulated", channels: threeColours, density: 20, milliamps: 10,
			reels: []string{"alcove", "bay", "cove"}, feeds: []feed{{"near", "A", "alcove.start"}, {"far", "A", "cove.end"}}},
		{Name: "24 V two supplies and a block", volts: 24, driver: "linear", channels: threeColours, density: 30, milliamps: 12,
			reels: []string{"alcove", "bay", "cove", "door"}, cut: "bay-cove", junctions: []string{"block"},
			feeds: []feed{{"trunk", "A", "block"}, {"one", "block", "alcove.start"}, {"two", "block", "bay.start"}, {"far", "B", "door.end"}}},
	}
}

// ManyFeeds is a kind of run with a feed at every second reel, whose readings tell far more of a feed's
// warmth than those of a run with one or two.
var ManyFeeds = Kind{Name: "5 V with five feeds", volts: 5, driver: "linear", channels: threeColours, density: 60, milliamps: 12,
	reels: []string{"alcove", "bay", "cove", "door", "east", "fall", "gable", "hall"},
	feeds: []feed{{"one", "A", "alcove.start"}, {"two", "A", "cove.start"}, {"three", "A", "east.start"}, {"four", "A", "gable.start"}, {"five", "A", "hall.end"}}}

// draft writes the run file of a kind, with lengths, wires and supplies drawn and
// without steps.
func (k Kind) draft(rng *rand.Rand) string {
	var b strings.Builder
	say := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	say("schema = 1\nname = %q # invented", strings.ReplaceAll(k.Name, ",", ""))
	say("[strip]\nvolts = %g\npixels_per_metre = %g\nchannels = [\"%s\"]\ndriver = %q", k.volts, k.density, strings.Join(k.channels, `", "`), k.driver)
	say("channel_milliamps = %g\nidle_milliamps = %.2g\nloop_milliohms_per_metre = %.0f", k.milliamps, between(rng, 0.5, 1), between(rng, 50, 110))
	supplies := []string{"A"}
	if k.cut != "" {
		supplies = append(supplies, "B")
	}
	trim := between(rng, 1, 1.03)
	for _, name := range supplies {
		say("[[supply]]\nname = %q\nvolts = %.2f\namps = 30", name, k.volts*trim)
		if rng.IntN(2) == 0 {
			say("milliohms = 5")
		}
	}
	for _, name := range k.reels {
		say("[[reel]]\nname = %q\nmetres = %.1f", name, between(rng, 2.2, 5))
		if after := k.branches[name]; after != "" {
			say("follows = %q", after)
		}
	}
	if k.cut != "" {
		from, to, _ := strings.Cut(k.cut, "-")
		say("[[joint]]\nbetween = [%q, %q]\nplus = \"cut\"", from, to)
	}
	for _, name := range k.junctions {
		say("[[junction]]\nname = %q", name)
	}
	for _, f := range k.feeds {
		size := []string{"18 AWG", "16 AWG", "1.5 mm2", "0.75 mm2"}[rng.IntN(4)]
		say("[[feed]]\nname = %q\nfrom = %q\nto = %q\nmetres = %.1f\nconductor = %q", f.name, f.from, f.to, between(rng, 0.8, 4), size)
	}
	meters[rng.IntN(len(meters))].write(say)
	return b.String()
}

// steps appends four steps to a draft: dark, a third of the greatest load, one colour, and the
// greatest load with every pair voltage above four fifths of the rated volts and no feed above 15 A.
func (k Kind) steps(draft string, rng *rand.Rand) (string, error) {
	r, err := runfile.Parse(k.Name, []byte(draft))
	if err != nil {
		return "", err
	}
	p := plant.New(r, plant.Plain, rng)
	most := 0.0
	for _, level := range []float64{0.02, 0.03, 0.05, 0.07, 0.1, 0.14, 0.2, 0.28, 0.4, 0.55, 0.75, 1} {
		if p.Show([]map[string]float64{all(k.channels, level)}) != nil || LeastVolts(p) < 0.8*k.volts || mostAmps(p) > 15 {
			break
		}
		most = level
	}
	if most == 0 {
		most = 0.02
	}
	var b strings.Builder
	b.WriteString(draft)
	write := func(name string, levels map[string]float64) {
		fmt.Fprintf(&b, "[[step]]\nname = %q\n", name)
		for _, c := range k.channels {
			fmt.Fprintf(&b, "%s = %.3g\n", c, levels[c])
		}
	}
	one := k.channels[rng.IntN(len(k.channels))]
	write("dark", nil)
	write("low", all(k.channels, most/3))
	write(one, all([]string{one}, math.Min(1, 0.8*most*float64(len(k.channels)))))
	write("bright", all(k.channels, most))
	return b.String(), nil
}

func all(channels []string, level float64) map[string]float64 {
	levels := map[string]float64{}
	for _, c := range channels {
		levels[c] = level
	}
	return levels
}

// LeastVolts is the least pair voltage of any pixel.
func LeastVolts(p *plant.Plant) float64 {
	least := math.Inf(1)
	for i, reel := range p.Run.Reels {
		for pixel := range reel.Pixels {
			at := run.Place{Kind: run.AtReel, Index: i, Pixel: pixel + 1}
			least = math.Min(least, p.Volts(run.Point{Place: at, Rail: run.Plus}, run.Point{Place: at, Rail: run.Minus}))
		}
	}
	return least
}

// mostAmps is the largest current of a feed.
func mostAmps(p *plant.Plant) float64 {
	most := 0.0
	for i := range p.Run.Feeds {
		most = math.Max(most, math.Abs(p.Amps(i)))
	}
	return most
}

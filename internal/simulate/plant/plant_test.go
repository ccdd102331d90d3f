package plant

import (
	"go/parser"
	"go/token"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
)

// A plant, and the demonstration that runs on one, import nothing that solves, fits,
// follows or judges, themselves or by way of others.
func TestSharesNothingWithTheFit(t *testing.T) {
	forbidden := []string{"numeric", "network", "result", "fit", "drift", "assess", "advise"}
	seen := map[string]bool{}
	var visit func(room string)
	visit = func(room string) {
		if seen[room] {
			return
		}
		seen[room] = true
		for _, name := range importsOf(t, filepath.Join("..", "..", filepath.FromSlash(room))) {
			other, ours := strings.CutPrefix(name, "ohmkeep/internal/")
			wing, _, _ := strings.Cut(other, "/")
			if ours && slices.Contains(forbidden, wing) {
				t.Errorf("%s imports %s", room, name)
			} else if ours {
				visit(other)
			}
		}
	}
	for _, room := range []string{"plant", "demo", "devices", "months"} {
		visit("simulate/" + room)
	}
	if len(seen) < 8 {
		t.Errorf("only %v looked at", seen)
	}
}

func importsOf(t *testing.T, folder string) []string {
	files, err := filepath.Glob(filepath.Join(folder, "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly)
		if err != nil {
			t.Fatal(err)
		}
		for _, spec := range f.Imports {
			name, _ := strconv.Unquote(spec.Path.Value) // the parser checked it
			names = append(names, name)
		}
	}
	return names
}

// example is one reel, 201 pixels, 4 m of 100 mΩ a metre, at 2.4 mA a pixel.
const example = `schema = 1
name = "example"
[strip]
volts = 5.0
pixels_per_metre = 50
channels = ["white"]
driver = "linear"
channel_milliamps = 20
idle_milliamps = 0.4
loop_milliohms_per_metre = 100
[[supply]]
name = "A"
volts = 5
amps = 20
milliohms = 5
[[reel]]
name = "only"
pixels = 201
[[feed]]
name = "near"
from = "A"
to = "only.start"
milliohms = 20
[[step]]
name = "white"
white = 0.1
`

// stated is a plant that is what a run file says, with pixels that saturate early.
func asStated(t *testing.T, text string) *Plant {
	t.Helper()
	r := runtest.Parse(t, text)
	p := New(r, Disturbance{}, rand.New(rand.NewPCG(1, 1)))
	p.Copper = 20
	p.pixels = pixels{Scale: 1, Idle: 1, Span: 1, Channel: map[string]float64{"red": 1, "green": 1, "blue": 1, "white": 1}}
	for i, s := range r.Supplies {
		p.Supplies[i] = Source{s.Volts, math.Max(s.Ohms, 1e-6)}
	}
	for i, f := range r.Feeds {
		p.Feeds[i] = Rails{f.Ohms / 2, f.Ohms / 2}
		p.Wires[i], p.warmings[i] = p.Feeds[i], warming{follows: 1}
	}
	for i, j := range r.Joints {
		p.Joints[i] = Rails{j.Ohms / 2, j.Ohms / 2}
		if j.PlusCut {
			p.Joints[i].Plus = math.Inf(1)
		}
	}
	for i, reel := range r.Reels {
		p.Reels[i] = Rails{reel.Strip.LoopOhms / 2, reel.Strip.LoopOhms / 2}
	}
	return p
}

// With equal currents the drop along a reel fed at one end is half of I·R, along one
// fed at both ends an eighth (the closed forms of a uniformly loaded conductor; with
// n segments and a pixel at each node (n+1)/2n of the current times the resistance).
func TestUniformLoad(t *testing.T) {
	p := asStated(t, example)
	if err := p.Set(0); err != nil {
		t.Fatal(err)
	}
	pair := func(k int) float64 {
		at := run.Place{Kind: run.AtReel, Pixel: k}
		return p.Volts(run.Point{Place: at, Rail: run.Plus}, run.Point{Place: at, Rail: run.Minus})
	}
	amps, ohms := 201*0.0024, 4*0.1
	near(t, "current", p.Amps(0), amps, 1e-4)
	near(t, "fed at one end", pair(1)-pair(201), 200*0.0024*ohms*201/400, 1e-3)

	both := asStated(t, example+"[[feed]]\nname = \"far\"\nfrom = \"A\"\nto = \"only.end\"\nmilliohms = 20\n")
	if err := both.Set(0); err != nil {
		t.Fatal(err)
	}
	p = both
	near(t, "half of the current", p.Amps(0), amps/2, 1e-4)
	near(t, "fed at both ends", pair(1)-pair(101), amps*ohms/8, 1e-2)
}

func near(t *testing.T, what string, got, want, part float64) {
	t.Helper()
	if math.Abs(got-want) > part*math.Abs(want) {
		t.Errorf("%s: %g, want %g", what, got, want)
	}
}

// A feed warms by its own law: more than in proportion to its current, only where it is wire, and less
// than the strip.
func TestFeedsWarmOnTheirOwn(t *testing.T) {
	p := asStated(t, strings.Replace(example, "milliohms = 20\n", "metres = 3\nconductor = \"0.75 mm2\"\n", 1)+
		"[[step]]\nname = \"bright\"\nwhite = 0.3\n")
	p.Wires[0] = Rails{0.9 * p.Feeds[0].Plus, 0.9 * p.Feeds[0].Minus}
	p.warmings[0] = warming{follows: 0.5, perLoad: 2, area: 0.75}
	p.by.Warming = 6
	var rise, amps [2]float64
	for step := range rise {
		if err := p.Set(step); err != nil {
			t.Fatal(err)
		}
		amps[step], rise[step] = p.Amps(0), p.heat[0]
		celsius := 20 + 3*float64(step) + rise[step]
		near(t, "temperature", p.True(run.Temperature, "near", ""), celsius, 1e-9)
		near(t, "strip", p.True(run.Temperature, "only", ""), 20+6*float64(step), 1e-9)
		near(t, "resistance", p.warmFeed(0).Loop(), p.Feeds[0].Loop()*(1+0.9*p.Run.Feeds[0].TempCo*(celsius-20)), 1e-9)
	}
	if rise[0] < 0.5 {
		t.Fatalf("its own current warms it by %g K", rise[0])
	}
	near(t, "rise by the current", math.Log(rise[1]/rise[0])/math.Log(amps[1]/amps[0]), 1.6, 0.05)
}

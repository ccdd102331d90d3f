package plant

import (
	"go/parser"
	"go/token"
	"math"
	"math/rand/v2"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/pixel"
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

// Nodal analysis of every pixel and the fit's own network, which was made by other means,
// give the same volts for runs of every kind where the pixels' curves do not matter.
func TestAgainstTheOtherNetwork(t *testing.T) {
	for i, k := range Kinds() {
		if k.driver != "linear" {
			continue
		}
		rng := rand.New(rand.NewPCG(uint64(i), 3))
		file, err := k.steps(k.draft(rng), rng)
		if err != nil {
			t.Fatal(err)
		}
		p := asStated(t, file)
		net, err := ladder.New(p.Run)
		if err != nil {
			t.Fatal(err)
		}
		solver, par := net.NewSolver(), ladder.Stated(p.Run)
		for s, step := range p.Run.Steps {
			if err := p.Set(s); err != nil {
				t.Fatal(err)
			}
			if err := solver.Solve(&par, ladder.Loads(p.Run, step, pixel.AsStated)); err != nil {
				t.Fatal(err)
			}
			for _, at := range places(p.Run) {
				plus, minus := run.Point{Place: at, Rail: run.Plus}, run.Point{Place: at, Rail: run.Minus}
				if at.Kind == run.AtReel && at.Pixel != 1 && at.Pixel != p.Run.Reels[at.Index].Pixels {
					continue
				}
				want := solver.Potential(plus) - solver.Potential(minus)
				if got := p.Volts(plus, minus); math.Abs(got-want) > 5e-4*k.volts {
					t.Errorf("%s, %s, %s: %g V, the other network has %g V", k.Name, step.Name, p.Run.PlaceName(at), got, want)
				}
			}
		}
	}
}

// Every kind can be drawn, as its seed says; at each node the currents sum to zero.
func TestCommission(t *testing.T) {
	for i, k := range Kinds() {
		a, err := Commission(k, Plain, BadJoint, SwappedDigits, uint64(i))
		if err != nil {
			t.Fatal(err)
		}
		b, err := Commission(k, Plain, BadJoint, SwappedDigits, uint64(i))
		if err != nil {
			t.Fatal(err)
		}
		if a == nil || a.File != b.File || !reflect.DeepEqual(a.Readings, b.Readings) || len(a.Wrong) != 1 {
			t.Fatalf("%s: not drawn twice alike", k.Name)
		}
		a.Plant.net.imbalance(a.Plant.volts)
		for n, amps := range a.Plant.net.excess {
			if math.Abs(amps) > 1e-7 {
				t.Errorf("%s, node %d: %g A go nowhere", k.Name, n, amps)
			}
		}
		if least := a.Plant.least(); !(least > 0.6*k.volts) {
			t.Errorf("%s: the run is read at %g V", k.Name, least)
		}
	}
}

// Each slip can be made, and is wrong by more than a meter can be.
func TestSlips(t *testing.T) {
	for _, s := range Slips() {
		made := 0
		for i, k := range Kinds() {
			c, err := Commission(k, Plain, Sound, s, uint64(i))
			if err != nil {
				t.Fatal(err)
			}
			if c == nil {
				continue
			}
			made++
			for _, at := range c.Wrong {
				if !c.exceedsMeterError(at, c.Readings[at].Value) {
					t.Errorf("%v, %s: %v", s, k.Name, c.Readings[at])
				}
			}
		}
		if made < 5 {
			t.Errorf("%v: made in %d kinds of run only", s, made)
		}
	}
}

// Each disturbance does what it says.
func TestDisturbances(t *testing.T) {
	kind := Kinds()[1]
	at := func(set func(*Disturbance)) *Case {
		var d Disturbance
		set(&d)
		c, err := Commission(kind, d, Sound, NoSlip, 7)
		if err != nil || c == nil {
			t.Fatal(err)
		}
		return c
	}
	calm := at(func(*Disturbance) {})
	warm := at(func(d *Disturbance) { d.Warming = 4 })
	if calm.Plant.Warmth() != calm.Plant.Copper || warm.Plant.Warmth() != warm.Plant.Copper+12 {
		t.Errorf("in the fourth step %g °C after %g °C", warm.Plant.Warmth(), warm.Plant.Copper)
	}
	texts := func(c *Case) (decimals, trailing int) {
		for _, x := range c.Readings {
			if _, after, _ := strings.Cut(x.Text, "."); x.Unit == "V" && len(after) > decimals {
				decimals = len(after)
			}
			if strings.Contains(x.Text, ".") && strings.HasSuffix(x.Text, "0") {
				trailing++
			}
		}
		return
	}
	if n, zeros := texts(calm); n != 3 || zeros == 0 {
		t.Errorf("calm: %d decimals, %d trailing zeros", n, zeros)
	}
	if n, _ := texts(at(func(d *Disturbance) { d.TwoDecimals = true })); n != 2 {
		t.Errorf("two decimals: %d", n)
	}
	if _, zeros := texts(at(func(d *Disturbance) { d.Trimmed = true })); zeros != 0 {
		t.Errorf("trimmed: %d trailing zeros", zeros)
	}
	for name, set := range map[string]func(*Disturbance){
		"wander": func(d *Disturbance) { d.Wander = 1.2 }, "ripple": func(d *Disturbance) { d.Ripple = 0.0004 },
		"pixels": func(d *Disturbance) { d.Pixels = 0.04 }, "thinning": func(d *Disturbance) { d.Thinning = 0.05 },
		"warming": func(d *Disturbance) { d.Warming = 4 }, "sag": func(d *Disturbance) { d.Sag = 0.012 },
		"levels": func(d *Disturbance) { d.Levels = 0.12 }, "foils": func(d *Disturbance) { d.Foils = 0.25 },
	} {
		c, differ := at(set), 0
		for i, x := range c.Readings {
			if i < len(calm.Readings) && x.Text != calm.Readings[i].Text {
				differ++
			}
		}
		if differ == 0 {
			t.Errorf("%s changes no reading", name)
		}
	}
	if two := at(func(d *Disturbance) { d.TwoSteps = true }); len(two.Readings) > len(calm.Readings)*3/5 {
		t.Errorf("two steps: %d of %d readings", len(two.Readings), len(calm.Readings))
	}
}

package ladder

import (
	"bufio"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

var networks = flag.Int("networks", 0, "how many random runs, beside the invented ones, are compared with ngspice; 0 = none, ngspice is not run, and the tests without it are smaller")

// deck writes a run as a SPICE netlist that shares nothing with this package's
// equations: a resistor a conductor, a behavioural current source a pixel.
func deck(r *run.Run, par *Parameters, step run.Step, raw string) string {
	var b strings.Builder
	b.WriteString("* invented run\n.options reltol=1e-6 abstol=1e-9 vntol=1e-8 gmin=1e-14 itl1=5000\n")
	used := newParts(r).supplyUsed
	node := func(p run.Place, rail run.Rail) string {
		if p.Kind == run.AtSupply && p.Index == slices.Index(used, true) && rail == run.Minus {
			return "0"
		}
		return fmt.Sprintf("%s%c%d_%d", rail.String()[:1], "sjr"[p.Kind], p.Index, p.Pixel)
	}
	count := 0
	resistor := func(a, c string, ohms float64) {
		if !math.IsInf(ohms, 1) {
			count++
			fmt.Fprintf(&b, "R%d %s %s %.12g\n", count, a, c, math.Max(ohms, floorOhms))
		}
	}
	wire := func(from, to run.Place, rails Rails) {
		resistor(node(from, run.Plus), node(to, run.Plus), rails.Plus)
		resistor(node(from, run.Minus), node(to, run.Minus), rails.Minus)
	}
	for i, s := range par.Supplies {
		if !used[i] {
			continue
		}
		at := run.Place{Kind: run.AtSupply, Index: i}
		fmt.Fprintf(&b, "V%d x%d %s DC %.12g\n", i, i, node(at, run.Minus), s.Volts)
		resistor(fmt.Sprintf("x%d", i), node(at, run.Plus), s.Ohms)
	}
	for i, f := range r.Feeds {
		wire(f.From, f.To, par.Feeds[i])
	}
	for i, j := range r.Joints {
		wire(run.Place{Kind: run.AtReel, Index: j.From, Pixel: r.Reels[j.From].Pixels},
			run.Place{Kind: run.AtReel, Index: j.To, Pixel: 1}, par.Joints[i])
	}
	for i, reel := range r.Reels {
		law := spiceLaw(reel.Strip, step)
		for k := 1; k <= reel.Pixels; k++ {
			at := run.Place{Kind: run.AtReel, Index: i, Pixel: k}
			if k > 1 {
				before := at
				before.Pixel--
				wire(before, at, par.Reels[i])
			}
			p, n := node(at, run.Plus), node(at, run.Minus)
			fmt.Fprintf(&b, ".nodeset v(%s)=%.12g v(%s)=0\n", p, par.Supplies[0].Volts, n) // where its search begins
			fmt.Fprintf(&b, "B%d_%d %s %s I=%s\n", i, k, p, n, strings.ReplaceAll(law, "v", fmt.Sprintf("V(%s,%s)", p, n)))
		}
	}
	fmt.Fprintf(&b, ".control\nop\nset filetype=ascii\nwrite %s\nquit\n.endc\n.end\n", raw)
	return b.String()
}

// spiceLaw writes the documented pixel law as an expression in v, from the run
// file's figures alone.
func spiceLaw(st run.Strip, step run.Step) string {
	fall := func(f, k float64) string {
		u := fmt.Sprintf("min(max((v-%.12g)/%.12g,0),1)", f, k-f)
		return fmt.Sprintf("(%s*%s*(3-2*%s))", u, u, u)
	}
	terms := []string{fmt.Sprintf("%.12g*%s", st.Idle, fall(0, 0.4*st.Volts))}
	for _, c := range st.Channels {
		level := step.Levels[c.Name]
		switch st.Driver {
		case run.Linear:
			terms = append(terms, fmt.Sprintf("%.12g*%s", level*c.Amps, fall(c.Forward, c.Knee)))
		case run.Resistor:
			terms = append(terms, fmt.Sprintf("%.12g*max(v-%.12g,0)", level/c.Ohms, c.Forward))
		case run.Regulated:
			terms = append(terms, fmt.Sprintf("%.12g/max(v,0.1)*%s", level*c.Amps*st.Volts, fall(0.8*c.Knee, c.Knee)))
		}
	}
	return strings.Join(terms, "+")
}

// operate runs ngspice on a netlist and returns its node voltages.
func operate(t testing.TB, r *run.Run, par *Parameters) map[string]float64 {
	t.Helper()
	dir := t.TempDir()
	raw := filepath.Join(dir, "out.raw")
	file := filepath.Join(dir, "run.cir")
	if err := os.WriteFile(file, []byte(deck(r, par, r.Steps[0], "out.raw")), 0o600); err != nil {
		t.Fatal(err)
	}
	spice := exec.Command("ngspice", "-b", file)
	spice.Dir = dir
	out, err := spice.CombinedOutput()
	text, readErr := os.ReadFile(raw)
	if readErr != nil {
		t.Fatalf("ngspice: %v, %v\n%s", err, readErr, out)
	}
	return readRaw(t, string(text))
}

// readRaw reads an operating point in ngspice's ASCII form.
func readRaw(t testing.TB, text string) map[string]float64 {
	t.Helper()
	volts := map[string]float64{}
	var names []string
	part, value := "", 0
	lines := bufio.NewScanner(strings.NewReader(text))
	for lines.Scan() {
		line := lines.Text()
		if line == "Variables:" || line == "Values:" {
			part = line
			continue
		}
		fields := strings.Fields(line)
		switch {
		case part == "Variables:" && len(fields) == 3:
			names = append(names, strings.TrimSuffix(strings.TrimPrefix(fields[1], "v("), ")"))
		case part == "Values:" && len(fields) > 0 && value < len(names):
			x, err := strconv.ParseFloat(fields[len(fields)-1], 64)
			if err != nil {
				t.Fatalf("ngspice output %q: %v", line, err)
			}
			volts[names[value]] = x
			value++
		}
	}
	if len(volts) == 0 {
		t.Fatal("ngspice gave no voltages")
	}
	return volts
}

// topologies are invented runs of different topology, each with its own driver.
func topologies() map[string]*run.Run {
	reel := func(name string, pixels, follows int, st run.Strip) run.Reel {
		return run.Reel{Name: name, Pixels: pixels, Follows: follows, Strip: st}
	}
	white := []run.Step{{Name: "white", Levels: map[string]float64{"red": 0.3, "green": 0.3, "blue": 0.3}}}
	st := func(d run.Driver, volts float64) run.Strip {
		s := run.Strip{Volts: volts, PixelsPerMetre: 60, Driver: d, Idle: 0.0008, LoopOhms: 0.09}
		for i, name := range []string{"red", "green", "blue"} {
			f := volts * (0.32 + 0.1*float64(i))
			c := run.Channel{Name: name, Amps: 0.012, Forward: f, Knee: f + 0.2*volts, Ohms: (volts - f) / 0.012}
			if d == run.Regulated {
				c.Knee = 0.6 * volts
			}
			s.Channels = append(s.Channels, c)
		}
		return s
	}
	feed := func(from, to run.Place, ohms float64) run.Feed {
		return run.Feed{From: from, To: to, Ohms: ohms, TempCo: CopperTempCo}
	}
	supply := func(i int) run.Place { return run.Place{Kind: run.AtSupply, Index: i} }
	pixelAt := func(reel, k int) run.Place { return run.Place{Kind: run.AtReel, Index: reel, Pixel: k} }
	block := run.Place{Kind: run.AtJunction}
	one := []run.Supply{{Name: "A", Volts: 5.1, Ohms: 0.005}}
	two := []run.Supply{{Name: "A", Volts: 5.1, Ohms: 0.005}, {Name: "B", Volts: 5.0, Ohms: 0.008}}
	joint := func(from, to int, ohms float64, cut bool) run.Joint {
		return run.Joint{From: from, To: to, Ohms: ohms, PlusCut: cut}
	}
	lin, res, reg := st(run.Linear, 5), st(run.Resistor, 12), st(run.Regulated, 24)
	twelve, twentyFour := []run.Supply{{Volts: 12.1}}, []run.Supply{{Volts: 24, Ohms: 0.02}}
	all := map[string]*run.Run{
		"end-fed":          {Supplies: one, Reels: []run.Reel{reel("a", 150, -1, lin)}, Feeds: []run.Feed{feed(supply(0), pixelAt(0, 1), 0.1)}},
		"both ends":        {Supplies: one, Reels: []run.Reel{reel("a", 150, -1, lin)}, Feeds: []run.Feed{feed(supply(0), pixelAt(0, 1), 0.1), feed(supply(0), pixelAt(0, 150), 0.2)}},
		"middle":           {Supplies: one, Reels: []run.Reel{reel("a", 151, -1, lin)}, Feeds: []run.Feed{feed(supply(0), pixelAt(0, 76), 0.1)}},
		"chain, bad joint": {Supplies: one, Reels: []run.Reel{reel("a", 80, -1, lin), reel("b", 90, 0, lin)}, Joints: []run.Joint{joint(0, 1, 0.1, false)}, Feeds: []run.Feed{feed(supply(0), pixelAt(0, 1), 0.1)}},
		"plus cut":         {Supplies: two, Reels: []run.Reel{reel("a", 80, -1, lin), reel("b", 90, 0, lin)}, Joints: []run.Joint{joint(0, 1, 0.004, true)}, Feeds: []run.Feed{feed(supply(0), pixelAt(0, 1), 0.1), feed(supply(1), pixelAt(1, 90), 0.1)}},
		"two supplies":     {Supplies: two, Reels: []run.Reel{reel("a", 80, -1, lin), reel("b", 90, 0, lin)}, Joints: []run.Joint{joint(0, 1, 0.004, false)}, Feeds: []run.Feed{feed(supply(0), pixelAt(0, 1), 0.1), feed(supply(1), pixelAt(1, 90), 0.1)}},
		"block and branch": {Supplies: one, Junctions: []run.Junction{{Name: "block"}}, Reels: []run.Reel{reel("a", 60, -1, lin), reel("b", 50, 0, lin), reel("c", 40, 0, lin)}, Joints: []run.Joint{joint(0, 1, 0.004, false), joint(0, 2, 0.03, false)}, Feeds: []run.Feed{feed(supply(0), block, 0.03), feed(block, pixelAt(0, 1), 0.05), feed(block, pixelAt(2, 17), 0.07)}},
		"starved":          {Supplies: one, Reels: []run.Reel{reel("a", 400, -1, lin)}, Feeds: []run.Feed{feed(supply(0), pixelAt(0, 1), 0.2)}},
		"resistor 12 V":    {Supplies: twelve, Reels: []run.Reel{reel("a", 150, -1, res), reel("b", 150, 0, res)}, Joints: []run.Joint{joint(0, 1, 0.02, false)}, Feeds: []run.Feed{feed(supply(0), pixelAt(0, 1), 0.2)}},
		"regulated 24 V":   {Supplies: twentyFour, Reels: []run.Reel{reel("a", 150, -1, reg), reel("b", 100, 0, reg)}, Joints: []run.Joint{joint(0, 1, 0.02, false)}, Feeds: []run.Feed{feed(supply(0), pixelAt(0, 1), 0.2), feed(supply(0), pixelAt(1, 100), 0.4)}},
		"mixed strips":     {Supplies: twelve, Reels: []run.Reel{reel("a", 60, -1, res), reel("b", 100, 0, st(run.Linear, 12))}, Joints: []run.Joint{joint(0, 1, 0.02, false)}, Feeds: []run.Feed{feed(supply(0), pixelAt(0, 1), 0.2)}},
		"single pixels":    {Supplies: one, Reels: []run.Reel{reel("a", 1, -1, lin), reel("b", 1, 0, lin), reel("c", 2, 1, lin)}, Joints: []run.Joint{joint(0, 1, 0.02, false), joint(1, 2, 0.02, false)}, Feeds: []run.Feed{feed(supply(0), pixelAt(0, 1), 0.2)}},
	}
	for _, r := range all {
		r.Ambient, r.Steps = 20, white
	}
	return all
}

// The reference is ngspice, a general-purpose circuit simulator: every potential
// within 0.1 mV at every pixel.
func TestPotentialsAgreeWithNgspice(t *testing.T) {
	if *networks == 0 {
		t.Skip("ngspice is not run without -networks")
	}
	if _, err := exec.LookPath("ngspice"); err != nil {
		t.Skip("ngspice is not installed; its comparison is left out")
	}
	compare := func(t *testing.T, r *run.Run) {
		s, par, _ := solve(t, r)
		want := operate(t, r, par)
		worst, compared := 0.0, 0
		for i, reel := range r.Reels {
			plus, minus := make([]float64, reel.Pixels), make([]float64, reel.Pixels)
			s.Reel(i, plus, minus, nil)
			for k := range plus {
				worst = math.Max(worst, math.Abs(plus[k]-want[fmt.Sprintf("pr%d_%d", i, k+1)]))
				worst = math.Max(worst, math.Abs(minus[k]-want[fmt.Sprintf("mr%d_%d", i, k+1)]))
				compared += 2
			}
		}
		t.Logf("%d potentials, greatest difference %.2g V", compared, worst)
		if !(worst < 1e-4) {
			t.Errorf("differs from ngspice by %g V", worst)
		}
	}
	for name, r := range topologies() {
		t.Run(name, func(t *testing.T) { compare(t, r) })
	}
	rng := rand.New(rand.NewPCG(3, 9))
	for i := 0; i < *networks; {
		r := randomRun(rng, 80)
		if r.Reels[0].Strip.Driver == run.Regulated || newParts(r).count() > 1 {
			continue // two balances may exist, or a part floats: no one right answer to compare
		}
		i++
		t.Run(fmt.Sprintf("random %d", i), func(t *testing.T) { compare(t, r) })
	}
}

// BenchmarkNgspice times the deck of BenchmarkSolve's 900 pixels in ngspice, a
// whole process with reading the deck.
func BenchmarkNgspice(b *testing.B) {
	if _, err := exec.LookPath("ngspice"); err != nil {
		b.Skip("ngspice is not installed")
	}
	r := endFed(900, 1.5/900, false)
	par := Stated(r)
	b.Run("ngspice/pixels=900", func(b *testing.B) {
		for range b.N {
			operate(b, r, &par)
		}
	})
	b.Run("ladder/pixels=900", func(b *testing.B) {
		net, _ := New(r)
		s := net.NewSolver()
		loads := Loads(r, r.Steps[0], pixel.AsStated)
		for range b.N {
			s.Restart()
			if err := s.Solve(&par, loads); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// count is the number of parts that share no conductor.
func (p *parts) count() int {
	roots := map[int]bool{}
	for i := range p.run.Reels {
		roots[p.find(p.reel(i))] = true
	}
	return len(roots)
}

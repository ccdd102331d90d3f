package repair

import (
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"ohmkeep/internal/run"
)

// deck writes a run of linear pixels as its file states it (at 20 °C, all elements
// halved between the rails) as a SPICE netlist: a resistor a conductor, a
// behavioural source a pixel. It shares nothing with the program's equations.
func deck(r *run.Run, step run.Step) string {
	var b strings.Builder
	b.WriteString("* invented\n.options reltol=1e-6 abstol=1e-9 vntol=1e-8 itl1=5000\n")
	node := func(p run.Place, rail string) string {
		if p.Kind == run.AtSupply && p.Index == 0 && rail == "n" {
			return "0"
		}
		return fmt.Sprintf("%s%c%d_%d", rail, "sjr"[p.Kind], p.Index, p.Pixel)
	}
	count := 0
	wire := func(from, to run.Place, loop float64, cut bool) {
		count++
		if !cut {
			fmt.Fprintf(&b, "RP%d %s %s %.12g\n", count, node(from, "p"), node(to, "p"), math.Max(loop/2, 1e-8))
		}
		fmt.Fprintf(&b, "RN%d %s %s %.12g\n", count, node(from, "n"), node(to, "n"), math.Max(loop/2, 1e-8))
	}
	for i, s := range r.Supplies {
		at := run.Place{Kind: run.AtSupply, Index: i}
		fmt.Fprintf(&b, "V%d x%d %s DC %.12g\nRS%d x%d %s %.12g\n", i, i, node(at, "n"), s.Volts, i, i, node(at, "p"), math.Max(s.Ohms, 1e-8))
	}
	for _, f := range r.Feeds {
		wire(f.From, f.To, f.Ohms, false)
	}
	for _, j := range r.Joints {
		wire(run.Place{Kind: run.AtReel, Index: j.From, Pixel: r.Reels[j.From].Pixels},
			run.Place{Kind: run.AtReel, Index: j.To, Pixel: 1}, j.Ohms, j.PlusCut)
	}
	fall := func(size, f, k float64) string {
		u := fmt.Sprintf("min(max((v-%.12g)/%.12g,0),1)", f, k-f)
		return fmt.Sprintf("%.12g*%s*%s*(3-2*%s)", size, u, u, u)
	}
	for i, reel := range r.Reels {
		law := fall(reel.Strip.Idle, 0, 0.4*reel.Strip.Volts)
		for _, c := range reel.Strip.Channels {
			law += "+" + fall(step.Levels[c.Name]*c.Amps, c.Forward, c.Knee)
		}
		for k := 1; k <= reel.Pixels; k++ {
			at := run.Place{Kind: run.AtReel, Index: i, Pixel: k}
			if k > 1 {
				wire(run.Place{Kind: run.AtReel, Index: i, Pixel: k - 1}, at, reel.Strip.LoopOhms*reel.SegmentLength(), false)
			}
			p, n := node(at, "p"), node(at, "n")
			fmt.Fprintf(&b, ".nodeset v(%s)=%.12g v(%s)=0\nB%d_%d %s %s I=%s\n", p, r.Supplies[0].Volts, n, i, k, p, n,
				strings.ReplaceAll(law, "v", fmt.Sprintf("V(%s,%s)", p, n)))
		}
	}
	b.WriteString(".control\nop\nset filetype=ascii\nwrite out.raw\nquit\n.endc\n.end\n")
	return b.String()
}

var rawLine = regexp.MustCompile(`^\s*(\d+)\s+(v\([^)]*\))\s+voltage`)

// lowest runs ngspice and gives the lowest pair voltage of any pixel.
func lowest(t *testing.T, r *run.Run, step run.Step) float64 {
	t.Helper()
	dir := t.TempDir()
	file := filepath.Join(dir, "run.cir")
	if err := os.WriteFile(file, []byte(deck(r, step)), 0o600); err != nil {
		t.Fatal(err)
	}
	spice := exec.Command("ngspice", "-b", file)
	spice.Dir = dir
	said, err := spice.CombinedOutput()
	raw, readErr := os.ReadFile(filepath.Join(dir, "out.raw"))
	if readErr != nil {
		t.Fatalf("ngspice: %v, %v\n%s", err, readErr, said)
	}
	head, values, ok := strings.Cut(string(raw), "Values:")
	if !ok {
		t.Fatalf("no values in %s", raw)
	}
	var names []string
	for line := range strings.Lines(head) {
		if m := rawLine.FindStringSubmatch(line); m != nil {
			names = append(names, strings.TrimSuffix(strings.TrimPrefix(m[2], "v("), ")"))
		}
	}
	volts := map[string]float64{}
	numbers := strings.Fields(values)[1:] // the first is the point's number
	for i, name := range names {
		if volts[name], err = strconv.ParseFloat(numbers[i], 64); err != nil {
			t.Fatal(err)
		}
	}
	least := math.Inf(1)
	for i, reel := range r.Reels {
		for k := 1; k <= reel.Pixels; k++ {
			p, ok := volts[fmt.Sprintf("pr%d_%d", i, k)]
			if !ok {
				t.Fatalf("no node for pixel %d of reel %s", k, reel.Name)
			}
			least = math.Min(least, p-volts[fmt.Sprintf("nr%d_%d", i, k)])
		}
	}
	return least
}

var ngspice = flag.Bool("ngspice", false, "compare with ngspice, which must be installed")

// Edited runs have the lowest volts that ngspice finds for them, to 0.1 mV, starved
// pixels and a second supply with the plus cut included.
func TestWhatIfsAgainstNgspice(t *testing.T) {
	if !*ngspice {
		t.Skip("ngspice is not run without -ngspice")
	}
	if _, err := exec.LookPath("ngspice"); err != nil {
		t.Skip("ngspice is not installed")
	}
	file := strings.ReplaceAll(long(0.5, "[[joint]]\nbetween = [\"one\", \"two\"]\nmilliohms = 60\n"), "metres = 5\n", "metres = 1\n")
	p := plan(t, file, Options{})
	k := p.Basis
	tried := map[Kind]bool{}
	check := func(what string, r *run.Run, got float64) {
		if want := lowest(t, r, k.Run.Steps[0]); math.Abs(got-want) > 1e-4 {
			t.Errorf("%s: %.6f V, ngspice %.6f V", what, got, want)
		}
	}
	check("as wired", k.Run, p.AsWired.LeastVolts.Value)
	for _, o := range p.Options {
		if kind := o.Repairs[0].Kind; kind != Lower && !tried[kind] {
			tried[kind] = true
			check(o.Repairs[0].Text, o.Repairs[0].edit.run(k.Run), o.Effect.LeastVolts.Value)
		}
	}
	for _, kind := range []Kind{Trim, Remake, Renew, FarFeed, MiddleFeed, NewSupply} {
		if !tried[kind] {
			t.Errorf("nothing of the kind %q was tried", kind)
		}
	}
}

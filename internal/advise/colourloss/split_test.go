package colourloss

import (
	"math"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/light"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/numeric/shapley"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
)

func prepared(t *testing.T, src, step string) *maker {
	t.Helper()
	r := runtest.Parse(t, src)
	m := &maker{run: r, step: r.Steps[r.StepIndex(step)], real: ladder.Stated(r), adjust: pixel.AsStated, out: &Appearance{Run: r}}
	m.loads = ladder.Loads(r, m.step, m.adjust)
	m.emitters = light.Emitters(r, m.step, m.adjust)
	return m
}

// An ideal supply has the rated volts of the strip that its feeds lead to, over
// junctions too.
func TestRatedVoltsOfASupply(t *testing.T) {
	src := change(t, "[[step]]\nname = \"dark\"", `[[supply]]
name = "B"
volts = 12.3
amps = 5
[[junction]]
name = "block"
[[junction]]
name = "tap"
[[feed]]
name = "last"
from = "tap"
to = "sign.start"
milliohms = 20
[[feed]]
name = "between"
from = "block"
to = "tap"
milliohms = 20
[[feed]]
name = "first"
from = "B"
to = "block"
milliohms = 20
[[step]]
name = "dark"`, "[[feed]]\nname = \"near\"", "[[reel]]\nname = \"sign\"\nfollows = \"\"\nvolts = 12\nmetres = 1\n[[feed]]\nname = \"near\"")
	m := prepared(t, src, "white 5 %")
	if a, b := m.rated(0), m.rated(1); a != 5 || b != 12 {
		t.Errorf("A should hold %g V, B %g V", a, b)
	}
}

// A cut on purpose has no effect of its own and an open conductor always has one, independently of
// the slope.
func TestEffects(t *testing.T) {
	m := prepared(t, cove, "white 5 %")
	net, err := ladder.New(m.run)
	if err != nil {
		t.Fatal(err)
	}
	g := net.NewGradient()
	g.Joints[0], g.Joints[1] = ladder.Rails{Plus: 0, Minus: 2}, ladder.Rails{Plus: 1e-12, Minus: 0}
	m.real.Joints[0], m.real.Joints[1] = ladder.Rails{Plus: math.Inf(1), Minus: 0.5}, ladder.Rails{Plus: 1e5, Minus: 0.001}
	effects := map[int]float64{}
	for _, p := range m.players(g) {
		if p.kind == run.KindJoint {
			effects[p.which[0]] = p.effect
		}
	}
	if effects[0] != 1 || !math.IsInf(effects[1], 1) {
		t.Errorf("parted %g, open %g", effects[0], effects[1])
	}
}

// With an empty coalition all derivatives by elements are zero.
func TestSilence(t *testing.T) {
	m := prepared(t, cove, "white 5 %")
	net, err := ladder.New(m.run)
	if err != nil {
		t.Fatal(err)
	}
	g := net.NewGradient()
	players := m.players(g)
	fill := func() {
		for i := range g.Supplies {
			g.Supplies[i] = ladder.Source{Volts: 1, Ohms: 1}
		}
		for _, list := range [][]ladder.Rails{g.Reels, g.Joints, g.Feeds} {
			for i := range list {
				list[i] = ladder.Rails{Plus: 1, Minus: 1}
			}
		}
	}
	left := func() float64 {
		sum := 0.0
		for _, x := range g.Supplies {
			sum += x.Volts + x.Ohms
		}
		for _, list := range [][]ladder.Rails{g.Reels, g.Joints, g.Feeds} {
			for _, x := range list {
				sum += x.Plus + x.Minus
			}
		}
		return sum
	}
	fill()
	whole := left()
	clearIdeal(players, 0, g)
	if left() != 0 {
		t.Errorf("%g is left of %g", left(), whole)
	}
	fill()
	if clearIdeal(players, shapley.Set(1)<<len(players)-1, g); left() != whole {
		t.Errorf("%g is left of %g where all have joined", left(), whole)
	}
}

// Regulated pixels have more than one balance. The one with the higher volts counts, independently
// of the coalition solved before. The reference solves each coalition with a new solver.
func TestRegulatedCoalitionsBeginAfresh(t *testing.T) {
	apart := 0
	for _, level := range []string{"0.09", "0.1", "0.105", "0.11", "0.115", "0.12", "0.13"} {
		src := change(t, "volts = 5.0\npixels_per_metre = 60\ndriver = \"linear\"\nchannel_milliamps = 12.0",
			"volts = 12\npixels_per_metre = 20\ndriver = \"regulated\"\nknee_volts = 3\nchannel_milliamps = 60",
			"volts = 5.1", "volts = 12")
		src = strings.ReplaceAll(src[:strings.Index(src, "[[feed]]\nname = \"far\"")]+
			"[[step]]\nname = \"lit\"\nred = LEVEL\ngreen = LEVEL\nblue = LEVEL\n", "LEVEL", level)
		a := made(t, runtest.Parse(t, src), "lit", nil, "east.end")
		m := prepared(t, src, "lit")
		at := a.Worst.Place
		players := []player{{kind: run.KindSupply, which: []int{0}}, {kind: run.KindFeed, which: []int{0}},
			{kind: run.KindJoint, which: []int{0}}, {kind: run.KindJoint, which: []int{1}}, {kind: run.KindReel}}
		net, err := ladder.New(m.run, at)
		if err != nil {
			t.Fatal(err)
		}
		warm := net.NewSolver()
		shares, err := shapley.Split(len(players), 1, func(s shapley.Set, out []float64) error {
			par, solver := ladder.Stated(m.run), net.NewSolver()
			m.coalition(players, s, &par)
			if err := solver.Solve(&par, m.loads); err != nil {
				return err
			}
			pair := func(s *ladder.Solver) float64 {
				return s.Potential(run.Point{Place: at}) - s.Potential(run.Point{Place: at, Rail: run.Minus})
			}
			out[0] = 12 - pair(solver)
			if err := warm.Solve(&par, m.loads); err != nil || math.Abs(pair(warm)-pair(solver)) > 0.01 {
				apart++
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if got, want := shareOf(t, a, run.KindReel, "").Volts.Value, shares[4][0]; math.Abs(got-want) > 1e-4 {
			t.Errorf("level %s: the copper has %g V, want %g", level, got, want)
		}
		if got, want := shareOf(t, a, run.KindFeed, "near").Volts.Value, shares[1][0]; math.Abs(got-want) > 1e-4 {
			t.Errorf("level %s: the feed has %g V, want %g", level, got, want)
		}
	}
	if apart == 0 {
		t.Error("no coalition has two balances: this test holds nothing")
	}
}

// What next to nothing was read of may have any volts, but none that cannot be.
func TestUnreadRunStaysWithinReason(t *testing.T) {
	r := runtest.Parse(t, cove)
	e, err := estimate.Make(r, []reading.Reading{{Row: 2, Time: time.Unix(0, 0), Step: "dark", Quantity: run.Voltage,
		From: "west.start+", To: "west.start-", Value: 5.08, Unit: "V", Text: "5.08", Meter: r.Meters[0].Name}})
	if err != nil {
		t.Fatal(err)
	}
	a := made(t, r, "white 30 %", e, "")
	if v := a.Worst.Volts; v.Low < 0 || v.High > 1.1*5.3 || v.High-v.Low < 1 {
		t.Errorf("%+v", v)
	}
	if a.Worst.Dimming.High-a.Worst.Dimming.Low < 0.3 {
		t.Errorf("%+v", a.Worst.Dimming)
	}
	addUp(t, a)
}

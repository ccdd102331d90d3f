package ladder

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// lone is one regulated pixel of 12 W at 12 V behind a feed: a constant power P
// behind a resistance R. Its voltage is V/2 + √(V²/4 − P·R) in closed form, and it
// has no operating point above P·R = V²/4.
func lone(ohms, least float64) *run.Run {
	return &run.Run{
		Ambient:  20,
		Supplies: []run.Supply{{Name: "A", Volts: 12}},
		Reels: []run.Reel{{Name: "r", Pixels: 1, Follows: -1, Strip: run.Strip{Volts: 12, PixelsPerMetre: 1, Driver: run.Regulated,
			Channels: []run.Channel{{Name: "white", Amps: 1, Knee: least}}}}},
		Feeds: []run.Feed{{Name: "f", From: run.Place{Kind: run.AtSupply}, To: run.Place{Kind: run.AtReel, Pixel: 1}, Ohms: ohms, TempCo: CopperTempCo}},
	}
}

var lit = run.Step{Name: "white", Levels: map[string]float64{"white": 1}}

func solved(t *testing.T, r *run.Run, step run.Step) *Solver {
	t.Helper()
	net, err := New(r)
	if err != nil {
		t.Fatal(err)
	}
	s := net.NewSolver()
	par := Stated(r)
	if err := s.Solve(&par, Loads(r, step, pixel.AsStated)); err != nil {
		t.Fatal(err)
	}
	return s
}

// Up to V²/4P = 3 Ω the pixel holds its power. Its voltage changes by
// (1/2)·(1 + V/√(V² − 4PR)) times the change of the supply's, which has no bound towards 3 Ω.
// Above 3 Ω it falls below its minimum.
func TestRunawayOfOnePixel(t *testing.T) {
	for _, ohms := range []float64{0.5, 1.5, 2.0, 2.6, 2.9, 3.1, 4} {
		r := lone(ohms, 3)
		s := solved(t, r, lit)
		v := s.volts[0]
		list := s.Runaways(lit)
		root := 144 - 4*12*ohms
		if root <= 0 {
			if len(list) != 1 || list[0].Below != 1 || list[0].First != 1 || v >= 3 {
				t.Errorf("%g Ω: %g V, %+v", ohms, v, list)
			} else if text := list[0].Text(r); !strings.Contains(text, "runs away") || !strings.Contains(text, "1 of 1 pixels") {
				t.Error(text)
			}
			continue
		}
		if want := 6 + math.Sqrt(root)/2; math.Abs(v-want) > 1e-6 {
			t.Errorf("%g Ω: %.6f V, want %.6f", ohms, v, want)
		}
		gain := 0.5 * (1 + 12/math.Sqrt(root))
		if (gain > nearRunaway) != (len(list) == 1) {
			t.Errorf("%g Ω: gain %g, %+v", ohms, gain, list)
		} else if len(list) == 1 {
			if math.Abs(list[0].Gain-gain) > 1e-6 || list[0].Below != 0 || !list[0].Holds {
				t.Errorf("%g Ω: %+v, want gain %g", ohms, list[0], gain)
			}
			if text := list[0].Text(r); !strings.Contains(text, "near running away") {
				t.Error(text)
			}
		}
		if !s.Stable() {
			t.Errorf("%g Ω does not hold", ohms)
		}
	}
}

// The lower root of the same equation is unstable: a solve that begins there stays there, and
// Stable returns false.
func TestUnsteadyBalance(t *testing.T) {
	r := lone(1.5, 1)
	s := solved(t, r, lit)
	low := 6 - math.Sqrt(144-4*12*1.5)/2
	s.volts[0], s.change[0], s.mismatch[0] = low, 0, 0
	if s.Stable() {
		t.Errorf("the balance at %g V holds", low)
	}
	list := s.Runaways(lit)
	if len(list) != 1 || list[0].Holds || !strings.Contains(list[0].Text(r), "does not hold") {
		t.Errorf("%+v", list)
	}
}

// Other drivers never run away, nor does a dark step. A supply below the pixels' minimum is
// reported as such.
func TestNoRunaway(t *testing.T) {
	r := lone(4, 3)
	if list := solved(t, r, run.Step{}).Runaways(run.Step{}); list != nil {
		t.Errorf("dark: %+v", list)
	}
	r.Supplies[0].Volts = 2.8
	list := solved(t, r, lit).Runaways(lit)
	if len(list) != 1 || !strings.Contains(list[0].Text(r), "no supply gives more than 2.80 V") {
		t.Errorf("%+v", list)
	}
	r = lone(4, 3)
	r.Reels[0].Strip.Driver = run.Linear
	r.Reels[0].Strip.Channels[0].Forward = 2
	if list := solved(t, r, lit).Runaways(lit); list != nil {
		t.Errorf("linear: %+v", list)
	}
}

func TestExplain(t *testing.T) {
	diverged := fmt.Errorf("after 400 iterations: %w", ErrDiverged)
	if err := Explain(lone(1, 3), diverged); !errors.Is(err, ErrDiverged) || !strings.Contains(err.Error(), "runs away and has no steady state") {
		t.Error(err)
	}
	r := lone(1, 3)
	r.Reels[0].Strip.Driver = run.Resistor
	if err := Explain(r, diverged); err.Error() != diverged.Error() {
		t.Error(err)
	}
	if err := Explain(lone(1, 3), ErrSingular); err.Error() != ErrSingular.Error() {
		t.Error(err)
	}
}

package model

import (
	"math"
	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/run"
	"slices"
	"testing"
)

// The rails of an element held at a value divide it as before, evenly where both were zero, and
// other conductors below zero start at zero.
func TestStartHeldAt(t *testing.T) {
	r, list := modeltest.Cornice()
	p, err := New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	joint, feed := p.Joints[0], p.Feeds[1]
	split := p.Splits[0]
	for _, c := range []struct{ plus, minus, wantPlus, wantMinus float64 }{
		{0.03, 0.01, 0.06, 0.02},
		{0.03, -0.01, 0.08, 0},
		{-0.03, -0.01, 0.04, 0.04},
	} {
		from := p.Start(p.Assume())
		from[joint[run.Plus]], from[joint[run.Minus]], from[feed[run.Minus]] = c.plus, c.minus, -0.002
		at := p.StartHeldAt(&split, prior.Transform(0.08), from)
		if plus, minus := prior.ToOhms(at[joint[run.Plus]]), prior.ToOhms(at[joint[run.Minus]]); math.Abs(plus-c.wantPlus) > 1e-12 || math.Abs(minus-c.wantMinus) > 1e-12 {
			t.Errorf("%g and %g share 80 mΩ as %g and %g, not %g and %g", c.plus, c.minus, plus, minus, c.wantPlus, c.wantMinus)
		}
		if at[feed[run.Minus]] != 0 || at[feed[run.Plus]] != from[feed[run.Plus]] || from[feed[run.Minus]] != -0.002 {
			t.Errorf("a feed begins at %g and %g", at[feed[run.Plus]], at[feed[run.Minus]])
		}
	}
}

// Strips of 5 V and of 12 V are different types although all else is the same.
func TestFoilPriorPerVoltage(t *testing.T) {
	r, list := modeltest.Cornice()
	other := *r
	other.Reels = slices.Clone(r.Reels)
	other.Reels[0].Strip.Volts = 12
	p, err := New(&other, list)
	if err != nil {
		t.Fatal(err)
	}
	if len(p.FoilPriors) != 2 || p.FoilPriors[0].Reel != 1 || p.FoilPriors[1].Reel != 2 {
		t.Errorf("%+v", p.FoilPriors)
	}
	if p.Splits[p.splitOfReel(0)].ShareAbout != prior.EvenShare {
		t.Error("its rails share as those of the others do")
	}
}

package search

import (
	"math"
	"slices"
	"testing"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
)

// The last reel of a run stays dark, so that its ends read about the same, as they would if both were
// read at one place. The dark reel explains that alone.
func TestDarkReelIsNotMisread(t *testing.T) {
	const last = 2
	r, list := modeltest.Cornice()
	real := *r
	real.Reels = slices.Clone(r.Reels)
	strip := &real.Reels[last].Strip
	strip.Channels = slices.Clone(strip.Channels)
	for i := range strip.Channels {
		strip.Channels[i].Amps = 0
	}
	modeltest.Fill(&real, list)
	m, err := model.New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	misread := model.Mistake{Kind: model.PlaceMisread, A: last, B: r.Reels[last].Pixels}
	dark := solved(t, m, m.Assume().Correcting(misread)).darkReels(math.Inf(1))
	if i := slices.IndexFunc(dark, func(e explanation) bool { return e.Assumptions.DarkReel == last }); i < 0 {
		t.Fatal("the dark reel is not tried")
	} else if x := dark[i].Assumptions.Mistakes; len(x) > 0 {
		t.Errorf("mistakes are %v", x)
	}
}

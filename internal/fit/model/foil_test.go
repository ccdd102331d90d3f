package model

import (
	"slices"
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
)

// Strip types have separate foil priors, and a single reel has none.
func TestFoilPriorPerStripType(t *testing.T) {
	r, list := modeltest.Cornice()
	other := *r
	other.Reels = slices.Clone(r.Reels)
	other.Reels[0].Strip.LoopOhms = 0.06
	p, err := New(&other, list)
	if err != nil {
		t.Fatal(err)
	}
	if len(p.FoilPriors) != 2 || p.FoilPriors[0].Reel != 1 || p.FoilPriors[1].Reel != 2 {
		t.Errorf("%+v", p.FoilPriors)
	}
	other.Reels[1].Strip.PixelsPerMetre = 30
	if p, err = New(&other, list); err != nil || len(p.FoilPriors) != 0 || p.Splits[p.splitOfReel(0)].ShareAbout != Absent {
		t.Errorf("%v, %+v", err, p.FoilPriors)
	}
}

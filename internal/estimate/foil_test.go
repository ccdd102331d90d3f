package estimate

import (
	"slices"
	"testing"

	"ohmkeep/internal/measurement/invented"
)

// Strips of two kinds know nothing of each other, and a reel by itself has no foil.
func TestFoilsAreByStrip(t *testing.T) {
	r, list := invented.Cornice()
	other := *r
	other.Reels = slices.Clone(r.Reels)
	other.Reels[0].Strip.LoopOhms = 0.06
	p, err := pose(&other, list)
	if err != nil {
		t.Fatal(err)
	}
	if len(p.alikes) != 2 || p.alikes[0].reel != 1 || p.alikes[1].reel != 2 {
		t.Errorf("%+v", p.alikes)
	}
	other.Reels[1].Strip.PixelsPerMetre = 30
	if p, err = pose(&other, list); err != nil || len(p.alikes) != 0 || p.splits[p.splitOfReel(0)].about != absent {
		t.Errorf("%v, %+v", err, p.alikes)
	}
}

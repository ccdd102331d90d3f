package estimate

import (
	"slices"
	"testing"
)

// Strips of 5 V and of 12 V are no one stock, though everything else of them is the same.
func TestFoilsAreByVolts(t *testing.T) {
	r, list := cornice(t)
	other := *r
	other.Reels = slices.Clone(r.Reels)
	other.Reels[0].Strip.Volts = 12
	p, err := pose(&other, list)
	if err != nil {
		t.Fatal(err)
	}
	if len(p.alikes) != 2 || p.alikes[0].reel != 1 || p.alikes[1].reel != 2 {
		t.Errorf("%+v", p.alikes)
	}
	if p.splits[p.splitOfReel(0)].about != absent {
		t.Error("its rails share as those of the others do")
	}
}

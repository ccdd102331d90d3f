package run

import (
	"math"
	"testing"
)

// Ways lead along strip, over joints and through feeds of known length, the shortest of
// them; 60 pixels a metre make 239 segments of 1/60 m.
func TestMetres(t *testing.T) {
	r := branched()
	for i := range r.Reels {
		r.Reels[i].Strip.PixelsPerMetre = 60
	}
	for i, metres := range []float64{3, 1, 0, 2} { // trunk, near, far (not stated), dots
		r.Feeds[i].Length = metres
	}
	for _, c := range []struct {
		from, to string
		want     float64
	}{
		{"A", "block", 3}, {"A", "west.start", 4}, {"west.start", "west.end", 239.0 / 60}, {"west.end", "north.start", 0},
		{"west.61", "A", 5}, {"dot.start", "west.start", 3}, {"west.end", "north.31", 0.5}, {"B", "north.end", math.Inf(1)}, {"A", "A", 0},
	} {
		from, err := r.Place(c.from)
		if err != nil {
			t.Fatal(err)
		}
		to, err := r.Place(c.to)
		if err != nil {
			t.Fatal(err)
		}
		if got, back := r.Metres(from, to), r.Metres(to, from); got != back || math.Abs(got-c.want) > 1e-9 && got != c.want {
			t.Errorf("%s to %s: %g m, back %g m, want %g m", c.from, c.to, got, back, c.want)
		}
	}
	if list := r.Conductors(); len(list) != 6 || list[0].Metres != 3 || !math.IsInf(list[2].Metres, 1) || list[5].To.Pixel != 300 {
		t.Errorf("%+v", list)
	}
}

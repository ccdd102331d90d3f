package plant

import (
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/run/runtest"
)

// BenchmarkShow solves three reels of 60 pixels with a new picture each time.
func BenchmarkShow(b *testing.B) {
	r := runtest.Parse(b, runtest.Strip("Three")+runtest.Reels(1, "west", "north", "east")+runtest.Feed("west.start", "18 AWG"))
	rng := rand.New(rand.NewPCG(1, 1))
	p := New(r, Plain, rng)
	levels := make([]map[string]float64, len(r.Reels))
	for b.Loop() {
		bright := rng.Float64()
		for i := range levels {
			levels[i] = map[string]float64{"red": 0.6 * bright * rng.Float64(), "green": 0.6 * bright * rng.Float64(), "blue": 0.6 * bright * rng.Float64()}
		}
		if err := p.Show(levels); err != nil {
			b.Fatal(err)
		}
	}
}

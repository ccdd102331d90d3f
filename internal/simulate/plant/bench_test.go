package plant

import (
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/run/runtest"
)

// BenchmarkShow solves 180 pixels with a new picture each time.
func BenchmarkShow(b *testing.B) {
	r := runtest.Parse(b, three)
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

// three is an invented run of three reels of a metre.
const three = `schema = 1
name = "Three"
[strip]
volts = 5.0
pixels_per_metre = 60
driver = "linear"
channel_milliamps = 12.0
idle_milliamps = 0.8
loop_milliohms_per_metre = 80.0
[[supply]]
name = "A"
volts = 5.1
amps = 20
[[reel]]
name = "west"
metres = 1
[[reel]]
name = "north"
metres = 1
[[reel]]
name = "east"
metres = 1
[[feed]]
name = "near"
from = "A"
to = "west.start"
metres = 2.5
conductor = "18 AWG"
`

package ladder

import (
	"math/rand/v2"

	"ohmkeep/internal/run"
)

// randomRun returns an invented run: reels in chains and branches, joints with and without a
// cut plus, feeds to starts, ends and pixels, over junctions, from one to three
// supplies, any driver, loads from idle to far beyond what the copper can carry.
func randomRun(rng *rand.Rand, maxPixels int) *run.Run {
	r := &run.Run{Name: "invented", Ambient: 10 + 30*rng.Float64()}
	st := randomStrip(rng)
	for i := range 1 + rng.IntN(3) {
		r.Supplies = append(r.Supplies, run.Supply{Name: string(rune('A' + i)),
			Volts: st.Volts * (0.95 + 0.1*rng.Float64()), Ohms: 0.02 * rng.Float64() * float64(rng.IntN(2))})
	}
	for i := range 1 + rng.IntN(5) {
		reel := run.Reel{Name: string(rune('a' + i)), Pixels: 1 + rng.IntN(maxPixels), Follows: -1, Strip: st}
		if i > 0 && rng.IntN(4) > 0 {
			reel.Follows = rng.IntN(i)
			r.Joints = append(r.Joints, run.Joint{From: reel.Follows, To: i, Ohms: 0.2 * rng.Float64() * rng.Float64()})
		}
		r.Reels = append(r.Reels, reel)
	}
	feed := func(from, to run.Place) {
		r.Feeds = append(r.Feeds, run.Feed{From: from, To: to, Ohms: 0.2 * rng.Float64(), TempCo: CopperTempCo})
	}
	supply := func() run.Place { return run.Place{Kind: run.AtSupply, Index: rng.IntN(len(r.Supplies))} }
	if rng.IntN(2) == 0 {
		r.Junctions = []run.Junction{{Name: "block"}}
		feed(supply(), run.Place{Kind: run.AtJunction})
	}
	for i, reel := range r.Reels {
		if reel.Follows < 0 || rng.IntN(3) == 0 {
			from := supply()
			if len(r.Junctions) > 0 && rng.IntN(2) == 0 {
				from = run.Place{Kind: run.AtJunction}
			}
			feed(from, run.Place{Kind: run.AtReel, Index: i, Pixel: 1 + rng.IntN(reel.Pixels)})
		}
	}
	for i, j := range r.Joints {
		if rng.IntN(5) == 0 { // cut the plus and feed the part behind it
			r.Joints[i].PlusCut = true
			feed(supply(), run.Place{Kind: run.AtReel, Index: j.To, Pixel: 1})
		}
	}
	level := rng.Float64() * rng.Float64()
	r.Steps = []run.Step{{Name: "random", Levels: map[string]float64{
		"red": level, "green": level * rng.Float64(), "blue": level * rng.Float64()}}}
	return r
}

func randomStrip(rng *rand.Rand) run.Strip {
	st := run.Strip{Volts: []float64{5, 12, 24}[rng.IntN(3)], PixelsPerMetre: 10 + 140*rng.Float64(),
		Driver: run.Driver(rng.IntN(3)), Idle: 0.002 * rng.Float64(), LoopOhms: 0.02 + 0.2*rng.Float64()}
	for i, name := range []string{"red", "green", "blue"} {
		amps := 0.02 * (0.3 + rng.Float64())
		c := run.Channel{Name: name, Amps: amps, Forward: (0.32 + 0.09*float64(i)) * st.Volts, Knee: (0.5 + 0.11*float64(i)) * st.Volts}
		if st.Driver == run.Regulated {
			c.Knee = 0.6 * st.Volts
		}
		c.Ohms = (st.Volts - c.Forward) / amps
		st.Channels = append(st.Channels, c)
	}
	return st
}

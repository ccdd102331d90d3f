package remedy

import (
	"math"

	"ohmkeep/internal/ladder"
	"ohmkeep/internal/pixel"
	"ohmkeep/internal/run"
)

// straightShift gives how much further the knees have to be shifted, V, for a
// straight fall below the knee to take the same current over the whole run as the
// cubic one: that current is what readings tell of, and the shape they do not. It is
// 0 where nothing starves, and where the run cannot be solved.
func straightShift(k Known, step run.Step) float64 {
	net, err := ladder.New(k.Run)
	if err != nil {
		return 0
	}
	solver := net.NewSolver()
	if err := solver.Solve(&k.Best.Parameters, ladder.Loads(k.Run, step, k.Best.Adjust)); err != nil {
		return 0
	}
	volts := make([][]float64, len(k.Run.Reels))
	for i, reel := range k.Run.Reels {
		plus, minus := make([]float64, reel.Pixels), make([]float64, reel.Pixels)
		solver.Reel(i, plus, minus, nil)
		for n := range plus {
			plus[n] -= minus[n]
		}
		volts[i] = plus
	}
	total := func(by pixel.Adjust) float64 {
		sum := 0.0
		for i, load := range ladder.Loads(k.Run, step, by) {
			for _, v := range volts[i] {
				amps, _ := load.Current(v)
				sum += amps
			}
		}
		return sum
	}
	want, by := total(k.Best.Adjust), k.Best.Adjust
	by.Shape = pixel.Ramp
	if math.Abs(total(by)-want) < 1e-9 {
		return 0
	}
	reach := mostShift * k.Run.Reels[0].Strip.Volts
	low, high := -reach, reach // the current falls as the knees rise
	for range 30 {
		middle := (low + high) / 2
		if by.Shift = k.Best.Adjust.Shift + middle; total(by) > want {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// mostShift is the part of the rated volts within which knees are looked for.
const mostShift = 0.2

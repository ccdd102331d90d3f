package loadlimit

import (
	"math"
	"strings"

	"ohmkeep/internal/run"
)

// Mix is a colour at any level: the ratio of each channel's level to the highest.
type Mix struct {
	Name    string             // the steps that show it
	Steps   []int              // into the run's steps
	Highest float64            // level of the brightest of them
	Levels  map[string]float64 // by channel; the greatest is 1
}

// Mixes returns the colours of a run's lit steps, each once, in their order.
func Mixes(r *run.Run) []Mix {
	var list []Mix
	for i, step := range r.Steps {
		mix, level := MixOf(step)
		if level == 0 {
			continue
		}
		mix.Steps = []int{i}
		known := false
		for k := range list {
			if same(list[k].Levels, mix.Levels) {
				list[k].Steps = append(list[k].Steps, i)
				list[k].Highest = math.Max(list[k].Highest, level)
				list[k].Name += ", " + step.Name
				known = true
			}
		}
		if !known {
			list = append(list, mix)
		}
	}
	return list
}

// MixOf returns the colour and the level of a step. The level is the greatest of its channels'; 0
// in the dark.
func MixOf(step run.Step) (Mix, float64) {
	level := 0.0
	for _, x := range step.Levels {
		level = math.Max(level, x)
	}
	mix := Mix{Name: strings.TrimSpace(step.Name), Highest: level, Levels: map[string]float64{}}
	for name, x := range step.Levels {
		if x > 0 {
			mix.Levels[name] = x / level
		}
	}
	return mix, level
}

func same(a, b map[string]float64) bool {
	if len(a) != len(b) {
		return false
	}
	for name, x := range a {
		if math.Abs(b[name]-x) > 1e-9 {
			return false
		}
	}
	return true
}

// at is the step that shows the colour at a level.
func (m Mix) at(level float64) run.Step {
	levels := make(map[string]float64, len(m.Levels))
	for name, x := range m.Levels {
		levels[name] = x * level
	}
	return run.Step{Name: m.Name, Levels: levels}
}

// Limiter returns the current, A, that a controller computes for the colour at a level: every pixel
// at its rated volts, with the values of the run file. A controller does not measure current, so its
// limiter is set to this value.
func (m Mix) Limiter(r *run.Run, level float64) float64 {
	sum := 0.0
	for _, reel := range r.Reels {
		each := reel.Strip.Idle
		for _, c := range reel.Strip.Channels {
			each += m.Levels[c.Name] * level * c.Amps
		}
		sum += float64(reel.Pixels) * each
	}
	return sum
}

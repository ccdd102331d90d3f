package ladder

import (
	"errors"
	"fmt"
	"math"

	"ohmkeep/internal/run"
)

// Runaway is a reel whose regulated pixels draw more current as their voltage falls, so far
// that the voltage has no stable value above their minimum, or nearly so.
type Runaway struct {
	Reel   int
	Below  int     // number of pixels below the minimum voltage of a lit channel; 0: the reel is only near running away
	First  int     // pixel number of the first of them, from 1
	Volts  float64 // V, that minimum
	Lowest float64 // V, the lowest pair voltage on the reel
	Gain   float64 // largest change of a node's pair voltage, in V for 1 V at all supplies; at most 1 without falling load lines
	Holds  bool    // the solution is stable, see Solver.Stable
	Fed    float64 // V, the highest open-circuit voltage of a supply
}

// nearRunaway is the Gain above which a run counts as near running away (a choice of this
// package).
const nearRunaway = 1.5

// Runaways returns the reels that run away, or are near it, at the last solution. The
// step must be the one that was solved for.
func (s *Solver) Runaways(step run.Step) []Runaway {
	var list []Runaway
	for i, reel := range s.net.run.Reels {
		if reel.Strip.Driver != run.Regulated {
			continue
		}
		x := Runaway{Reel: i, Lowest: math.Inf(1)}
		for _, supply := range s.par.Supplies {
			x.Fed = math.Max(x.Fed, supply.Volts)
		}
		for _, c := range reel.Strip.Channels {
			if step.Levels[c.Name] > 0 {
				x.Volts = math.Max(x.Volts, c.Knee)
			}
		}
		for k := range reel.Pixels {
			v := s.volts[s.net.offsets[i]+k]
			if v < x.Volts {
				if x.Below == 0 {
					x.First = k + 1
				}
				x.Below++
			}
			x.Lowest = math.Min(x.Lowest, v)
		}
		x.Gain = s.gain(i)
		if x.Volts > 0 {
			list = append(list, x)
		}
	}
	if len(list) == 0 {
		return nil
	}
	holds := s.Stable()
	kept := list[:0]
	for _, x := range list {
		x.Holds = holds
		if x.Below > 0 || !holds || x.Gain > nearRunaway {
			kept = append(kept, x)
		}
	}
	return kept
}

// gain computes Runaway.Gain of a reel; +Inf where the matrix is singular.
func (s *Solver) gain(reel int) float64 {
	g := s.net.NewGradient()
	most := 0.0
	for _, pixel := range s.net.taps[reel] {
		at := run.Place{Kind: run.AtReel, Index: reel, Pixel: pixel}
		if s.VoltageGradient(run.Point{Place: at}, run.Point{Place: at, Rail: run.Minus}, g) != nil {
			return math.Inf(1)
		}
		sum := 0.0
		for _, x := range g.Supplies {
			sum += x.Volts
		}
		most = math.Max(most, sum)
	}
	return most
}

// Text describes the runaway and its remedy in words.
func (x Runaway) Text(r *run.Run) string {
	reel := r.Reels[x.Reel]
	why := "its regulated pixels draw more current as their volts fall, which makes the volts fall further"
	helps := "lower the level, or feed it where the volts are low"
	switch {
	case x.Below > 0 && x.Fed < x.Volts:
		return fmt.Sprintf("reel %s: its regulated pixels need %.2f V and no supply gives more than %.2f V", reel.Name, x.Volts, x.Fed)
	case x.Below > 0:
		return fmt.Sprintf("reel %s runs away: %s; %d of %d pixels end below the %.2f V they need, from pixel %d on, the lowest at %.2f V; %s",
			reel.Name, why, x.Below, reel.Pixels, x.Volts, x.First, x.Lowest, helps)
	case !x.Holds:
		return fmt.Sprintf("reel %s runs away: %s; the balance at %.2f V does not hold; %s", reel.Name, why, x.Lowest, helps)
	}
	return fmt.Sprintf("reel %s is near running away: %s; a volt less at the supply is %.1f V less here, at %.2f V; %s", reel.Name, why, x.Gain, x.Lowest, helps)
}

// Explain adds to ErrDiverged that the regulated pixels of the run have no steady state. It
// returns other errors, and those of runs without such pixels, unchanged.
func Explain(r *run.Run, err error) error {
	for _, reel := range r.Reels {
		if reel.Strip.Driver == run.Regulated && errors.Is(err, ErrDiverged) {
			return fmt.Errorf("%w: reel %s has regulated pixels, which draw more current as their volts fall; this load runs away and has no steady state", err, reel.Name)
		}
	}
	return err
}

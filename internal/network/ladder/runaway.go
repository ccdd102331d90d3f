package ladder

import (
	"errors"
	"fmt"
	"math"

	"ohmkeep/internal/run"
)

// Runaway is a reel whose regulated pixels draw more current as their volts fall,
// which makes the volts fall further.
type Runaway struct {
	Reel   int
	Below  int     // pixels that end below the minimum volts of a lit channel; 0: it only comes near
	First  int     // the first of them
	Volts  float64 // V, that minimum
	Lowest float64 // V, of any pixel of the reel
	Gain   float64 // V by which the lowest pixel follows a volt less at every supply; without falling load lines it is at most 1
	Holds  bool    // the balance found is a steady one
	Fed    float64 // V, the most that any supply gives without load
}

// nearRunaway is the ratio of a pixel's voltage change to that of the supplies from which the run
// counts as near running away: half as much again (a choice of this package).
const nearRunaway = 1.5

// Runaways returns the reels that run away, or come near, at the last solution. The
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

// gain is the most by which a node of a reel follows a volt of all supplies.
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

// Text returns in words what runs away and what helps.
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

// Explain adds to an error of Solve what it means for a run with regulated pixels.
func Explain(r *run.Run, err error) error {
	for _, reel := range r.Reels {
		if reel.Strip.Driver == run.Regulated && errors.Is(err, ErrDiverged) {
			return fmt.Errorf("%w: reel %s has regulated pixels, which draw more current as their volts fall; this load runs away and has no steady state", err, reel.Name)
		}
	}
	return err
}

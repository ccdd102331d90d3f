// Package loadlimit computes how far a load uses up the limits of a run, and the highest
// level of a colour at which every limit is kept.
//
// A load is a colour at a level. Each criterion compares a value with its limit:
// the light's colour and brightness, the feeds' drop, fuse and ampacity, the heat
// of the joints, the supplies, and the level at which data is still read. The
// highest level is the one up to which, from dark, every criterion holds.
//
// Values are SI. The Condition describes the run: as its file states, as fitted to readings, or after
// a repair. The whole run is lit evenly. A controller that only sums the current cannot know where
// it flows; the same current in the far part alone makes it dimmer than computed here.
package loadlimit

import (
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/limits"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// Condition is a run as wired, or as it would be after a repair.
type Condition struct {
	Run        *run.Run
	Parameters ladder.Parameters // at the actual temperature
	Adjust     pixel.Adjust
}

// Stated is the condition that a run file describes.
func Stated(r *run.Run) Condition {
	return Condition{Run: r, Parameters: ladder.Stated(r), Adjust: pixel.AsStated}
}

// Allowances are the figures that no run file states. Zero means the usual figure.
type Allowances struct {
	JointWatts float64 // W that a joint may turn into heat
	DataVolts  float64 // V of a high at the output that drives the first pixel
}

// usualDataVolts is the high level of 5 V logic, V. Whether 3.3 V logic suffices depends on the
// supply voltage more than on the current, and is not examined here.
const usualDataVolts = 5.0

func (l Allowances) withDefaults() Allowances {
	if l.JointWatts == 0 {
		l.JointWatts = limits.JointWatts
	}
	if l.DataVolts == 0 {
		l.DataVolts = usualDataVolts
	}
	return l
}

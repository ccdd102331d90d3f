// Package loadlimit computes how far a load uses up the limits of a run, and the highest
// level of a colour at which every limit is kept.
//
// A load is a colour at a level. Each criterion compares a value with its limit:
// the light's colour and brightness, the feeds' drop, fuse and ampacity, the heat
// of the joints, the supplies, and the level at which data is still read. The
// highest level is the one up to which, from dark, every criterion holds.
//
// Values are SI. The run is taken as its Condition says; whether that is what a
// file states, what readings say or what a repair would make of it is for the
// caller. The whole run is lit evenly: a controller that counts amperes without
// knowing where they flow may starve a far end with less.
package loadlimit

import (
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/limits"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// Condition is a run as it is or would be after a repair.
type Condition struct {
	Run        *run.Run
	Parameters ladder.Parameters // at the temperature of the moment
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

// usualDataVolts is a high from 5 V logic. Whether 3.3 V logic does is another
// question, and one of too high a supply rather than of too much current.
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

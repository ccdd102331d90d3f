// Package loadlimit tells how far a load uses up what a run can bear, and how high a
// colour may be driven before something gives way.
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
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// Condition is a run as it is or would be.
type Condition struct {
	Run        *run.Run
	Parameters ladder.Parameters // at the temperature of the moment
	Adjust     pixel.Adjust
}

// Stated is the condition that a run file describes.
func Stated(r *run.Run) Condition {
	return Condition{Run: r, Parameters: ladder.Stated(r), Adjust: pixel.AsStated}
}

// Criterion is one of the ways in which a load can be too much.
type Criterion int

const (
	Colour      Criterion = iota // distance in CIE 1976 u′v′ from the same colour at full voltage
	Brightness                   // part of the luminance at full voltage that is lost
	FeedDrop                     // V, both conductors
	JointHeat                    // W, both conductors
	Fuse                         // A
	Ampacity                     // A
	Supply                       // A
	DataLevel                    // V, that a pixel takes for a high
	SteadyState                  // V, that regulated pixels need; with less they have run away
	criteria
)

func (c Criterion) String() string {
	return [...]string{"colour", "brightness", "feed drop", "joint heat", "fuse", "ampacity", "supply", "data level", "steady state"}[c]
}

// Utilisation is one criterion where a load comes nearest to its limit.
type Utilisation struct {
	Criterion    Criterion
	Subject      string // the feed, joint, supply or reel
	Pixel        int    // of the reel, from 1; 0 where the subject is no reel
	Value, Limit float64
}

// Ratio is the part of the limit that is used; above 1 it is broken.
func (u Utilisation) Ratio() float64 {
	if u.Limit <= 0 {
		return 0 // a limit that nobody stated
	}
	return u.Value / u.Limit
}

// Holds tells whether the limit is kept.
func (u Utilisation) Holds() bool { return u.Ratio() <= 1 }

// Limits are the figures that no run file states. Zero means the usual figure.
type Limits struct {
	JointWatts float64 // W that a joint may turn into heat
	DataVolts  float64 // V of a high at the output that drives the first pixel
}

const (
	// usualJointWatts is what a joint in a closed plastic channel bears without
	// getting warm to the touch (common practice, no source).
	usualJointWatts = 0.25
	// usualDataVolts is a high from 5 V logic. Whether 3.3 V logic does is another
	// question, and one of too high a supply rather than of too much current.
	usualDataVolts = 5.0
	// continuous is the part of its rated amperes that a supply should carry for
	// hours (common practice, no source).
	continuous = 0.8
	// highLevel is the part of its own supply that a pixel takes for a high, the
	// usual CMOS input threshold (common practice, no source).
	highLevel = 0.7
	// logicVolts is the highest strip voltage whose pixels' logic runs on the strip's
	// own volts; above it they have a regulator inside.
	logicVolts = 5.5
)

func (l Limits) withDefaults() Limits {
	if l.JointWatts == 0 {
		l.JointWatts = usualJointWatts
	}
	if l.DataVolts == 0 {
		l.DataVolts = usualDataVolts
	}
	return l
}

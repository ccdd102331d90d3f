package limits

import (
	"math"

	"ohmkeep/internal/run"
)

const (
	// Continuous is the part of its rated amperes that a supply, a fuse or a wire may carry
	// for hours; the package's comment has the source.
	Continuous = 0.8
	// JointWatts is the heat, W, up to which a joint in a closed plastic channel does not get
	// warm to the touch (common practice, no source).
	JointWatts = 0.25
	// highLevel is the data voltage that a pixel reads as high, as a part of its own supply
	// voltage: the usual CMOS input threshold (0.7·VDD, from memory of JESD12-6).
	highLevel = 0.7
	// logicVolts is the highest strip voltage, V, at which the pixels' logic runs on the strip's
	// voltage; above it pixels have an internal regulator (common practice, no source).
	logicVolts = 5.5
)

// OfSupply compares a supply's current, A, with its continuous rating.
func OfSupply(s run.Supply, amps float64) Utilisation {
	return Utilisation{Criterion: Supply, Subject: s.Name, Value: math.Abs(amps), Limit: Continuous * s.Amps}
}

// OfFuse compares a feed's current, A, with its fuse's continuous rating.
func OfFuse(f run.Feed, amps float64) Utilisation {
	return Utilisation{Criterion: Fuse, Subject: f.Name, Value: math.Abs(amps), Limit: Continuous * f.Fuse}
}

// OfWire compares a feed's current, A, with its wire's continuous rating.
func OfWire(f run.Feed, amps float64) Utilisation {
	return Utilisation{Criterion: Ampacity, Subject: f.Name, Value: math.Abs(amps), Limit: Continuous * f.Ampacity}
}

// FuseProtects reports whether a feed's fuse melts before its wire gets too hot, that is, whether
// it is rated no higher than the wire. It returns true if either is unknown.
func FuseProtects(f run.Feed) bool { return f.Fuse == 0 || f.Ampacity == 0 || f.Fuse <= f.Ampacity }

// OfFeedDrop compares the drop of feed i of a run, V over both conductors, with its limit.
func OfFeedDrop(r *run.Run, i int, volts float64) Utilisation {
	return Utilisation{Criterion: FeedDrop, Subject: r.Feeds[i].Name, Value: volts, Limit: r.Limits.FeedDrop * r.SupplyOf(i).Volts}
}

// OfJointHeat compares the heat of a joint, W in both conductors, with a limit in W; limit 0
// selects JointWatts.
func OfJointHeat(j run.Joint, watts, limit float64) Utilisation {
	if limit == 0 {
		limit = JointWatts
	}
	return Utilisation{Criterion: JointHeat, Subject: j.Name, Value: watts, Limit: limit}
}

// OfColour compares a pixel's colour shift, Δu′v′ (CIE 1976), with the run's limit.
func OfColour(r *run.Run, reel, pixel int, shift float64) Utilisation {
	return Utilisation{Criterion: Colour, Subject: r.Reels[reel].Name, Pixel: pixel, Value: shift, Limit: r.Limits.ColourShift}
}

// OfBrightness compares the part of a pixel's light that is lost, 0 to 1, with the run's limit.
func OfBrightness(r *run.Run, reel, pixel int, lost float64) Utilisation {
	return Utilisation{Criterion: Brightness, Subject: r.Reels[reel].Name, Pixel: pixel, Value: lost, Limit: r.Limits.Dimming}
}

// LogicFollowsStrip reports whether the logic of a strip's pixels runs on the strip's voltage,
// so that their data level depends on it.
func LogicFollowsStrip(s run.Strip) bool { return s.Volts <= logicVolts }

// DataHigh returns the lowest data voltage, V above its own minus, that a pixel reads as high
// at a pair voltage of volts.
func DataHigh(volts float64) float64 { return highLevel * volts }

// OfData compares the high level that a pixel needs with the data output before it. sent, plus
// and minus are the potentials, V, of that output and of the pixel's two conductors. An output
// below the pixel's minus gives a ratio of 2.
func OfData(reel string, pixel int, sent, plus, minus float64) Utilisation {
	u := Utilisation{Criterion: DataLevel, Subject: reel, Pixel: pixel, Value: DataHigh(plus - minus), Limit: sent - minus}
	if u.Limit <= 0 { // the output is below the pixel's minus
		u.Value, u.Limit = 2, 1
	}
	return u
}

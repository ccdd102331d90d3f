package ladder

import (
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// CopperTempCo is the temperature coefficient of copper's resistance at 20 °C,
// 1/K (IEC 60028).
const CopperTempCo = 0.00393

// AssumedLoopOhms is used for a strip whose resistance the run file does not state, Ω/m of both
// rails together: two rails 10 mm wide of 35 µm foil (computed from copper's resistivity, 1/58
// Ω·mm²/m; IEC 60028).
const AssumedLoopOhms = 0.0985

// Stated returns the parameters that a run file states, at its ambient temperature. Reels,
// feeds and joints are divided evenly between the rails. The wire of a feed and the copper of
// a reel follow the temperature; joints and the rest of a feed do not.
func Stated(r *run.Run) Parameters {
	p := Parameters{
		Supplies: make([]Source, len(r.Supplies)),
		Reels:    make([]Rails, len(r.Reels)),
		Joints:   make([]Rails, len(r.Joints)),
		Feeds:    make([]Rails, len(r.Feeds)),
	}
	warm := r.Ambient - 20
	for i, s := range r.Supplies {
		p.Supplies[i] = Source{s.Volts, s.Ohms}
	}
	for i, reel := range r.Reels {
		perMetre := reel.Strip.LoopOhms
		if perMetre == 0 {
			perMetre = AssumedLoopOhms
		}
		half := perMetre / 2 * reel.SegmentLength() * (1 + CopperTempCo*warm)
		p.Reels[i] = Rails{half, half}
	}
	for i, f := range r.Feeds {
		half := (f.Ohms + FeedWire(f)*f.TempCo*warm) / 2
		p.Feeds[i] = Rails{half, half}
	}
	for i, j := range r.Joints {
		p.Joints[i] = Rails{j.Ohms / 2, j.Ohms / 2}
		if j.PlusCut {
			p.Joints[i].Plus = cutOhms
		}
	}
	return p
}

// FeedWire returns the part of a feed's loop resistance at 20 °C that is wire, Ω: computed from
// length and conductor, or all of it if they are not stated.
func FeedWire(f run.Feed) float64 {
	if f.WireOhms == 0 {
		return f.Ohms
	}
	return min(f.WireOhms, f.Ohms)
}

// Loads returns the load law of each reel's pixels in a step.
func Loads(r *run.Run, step run.Step, by pixel.Adjust) []pixel.Load {
	loads := make([]pixel.Load, len(r.Reels))
	for i, reel := range r.Reels {
		loads[i] = pixel.New(reel.Strip, step.Levels, by.AtReel(i, len(r.Reels)))
	}
	return loads
}

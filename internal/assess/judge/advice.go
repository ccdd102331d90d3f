package judge

import (
	"fmt"
	"math"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// advice returns what to do about an open conductor; "" for other elements.
func (j *judgement) advice(i int) string {
	e, x := &j.est.Elements[i], j.assessed(i)
	if x == nil || !mayBeOpen(x) {
		return ""
	}
	if x.Verdict != assessment.Unproven {
		return openAdvice
	}
	return openAdvice + j.confirmingReading(e)
}

// mayBeOpen reports whether an element is open, or may be: a joint or feed whose best value
// conducts no useful current and has no upper bound.
func mayBeOpen(x *assessment.Element) bool {
	jointOrFeed := x.Kind == run.KindJoint || x.Kind == run.KindFeed
	return x.Open() || jointOrFeed && x.Known && x.Ohms >= openOhms && math.IsInf(x.High, 1)
}

// openAdvice is what to do about a conductor that is or may be open.
const openAdvice = "Disconnect the supply, then look for a broken conductor or a connector that was never plugged in."

// confirmingReading names the reading that distinguishes an open conductor from a sound one.
func (j *judgement) confirmingReading(e *estimate.Element) string {
	switch e.Kind {
	case run.KindJoint:
		joint := j.run.Joints[e.Index]
		from := j.run.PlaceName(run.Place{Kind: run.AtReel, Index: joint.From, Pixel: j.run.Reels[joint.From].Pixels})
		to := j.run.PlaceName(run.Place{Kind: run.AtReel, Index: joint.To, Pixel: 1})
		return fmt.Sprintf(" Or read the voltages from %s+ to %s+ and from %s- to %s- in the brightest step: over a sound joint they are a few millivolts.", from, to, from, to)
	case run.KindFeed:
		return " Or read its current in the brightest step: an open feed carries none."
	}
	return ""
}

package judge

import (
	"math"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/run"
)

// name returns an element's name in the run.
func (j *judgement) name(e *estimate.Element) string {
	switch e.Kind {
	case run.KindJoint:
		return j.run.Joints[e.Index].Name
	case run.KindFeed:
		return j.run.Feeds[e.Index].Name
	case run.KindReel:
		return j.run.Reels[e.Index].Name
	}
	return j.run.Supplies[e.Index].Name
}

// statedOhms is the resistance of an element in the run file.
func (j *judgement) statedOhms(e *estimate.Element) float64 {
	part := 1.0
	if e.Rail != run.Loop {
		part = 0.5
	}
	switch e.Kind {
	case run.KindJoint:
		return part * j.run.Joints[e.Index].Ohms
	case run.KindFeed:
		return part * j.run.Feeds[e.Index].Ohms
	case run.KindReel:
		return part * j.run.Reels[e.Index].Strip.LoopOhms
	}
	return j.run.Supplies[e.Index].Ohms
}

// limit is the limit of an element, in its own unit; NaN without one. A single conductor has the
// limit of the whole loop: above that it is certainly bad.
func (j *judgement) limit(e *estimate.Element) float64 {
	limits := j.run.Limits
	switch e.Kind {
	case run.KindJoint:
		return j.run.Joints[e.Index].Limit
	case run.KindFeed:
		return j.feedLimit(e.Index)
	case run.KindReel:
		if nominal := j.run.Reels[e.Index].Strip.LoopOhms; nominal > 0 {
			return nominal * (1 + limits.ReelExcess)
		}
	}
	return math.NaN()
}

// feedLimit is the limit of a feed, Ω, at the current of the design step, if there is one.
func (j *judgement) feedLimit(i int) float64 {
	amps := 0.0
	if j.design != nil {
		amps = j.design[i]
	}
	return j.run.FeedLimit(i, amps)
}

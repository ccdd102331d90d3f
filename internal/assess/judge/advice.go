package judge

import (
	"fmt"
	"math"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// advice says what to do about an open conductor, "" where there is none.
func (j *judged) advice(i int) string {
	e, x := &j.est.Elements[i], j.judgedAs(i)
	if x == nil || !mayBeOpen(x) {
		return ""
	}
	if x.Verdict != assessment.Unproven {
		return mendOpen
	}
	return mendOpen + j.confirm(e)
}

// mayBeOpen tells of an open conductor, and of one whose best value nothing that conducts
// has and that nothing bounds above.
func mayBeOpen(x *assessment.Element) bool {
	joins := x.Kind == run.KindJoint || x.Kind == run.KindFeed
	return x.Open() || joins && x.Known && x.Ohms >= parted && math.IsInf(x.High, 1)
}

// mendOpen is what to do about an open conductor, parted for certain or not.
const mendOpen = "Disconnect the supply, then look for a parted conductor or a connector that was never plugged."

// confirm says which reading tells an open conductor from a sound one.
func (j *judged) confirm(e *estimate.Element) string {
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

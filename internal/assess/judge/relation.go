package judge

import (
	"slices"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// relationOf describes how a reading relates to an element.
func (j *judgement) relationOf(e *estimate.Element, x reading.Reading) string {
	if x.Quantity == run.Current {
		switch {
		case e.Kind == run.KindFeed && x.From == j.run.Feeds[e.Index].Name:
			return "its own current"
		case e.Kind == run.KindFeed:
			return "the other feeds' currents"
		}
		return "the feed currents"
	}
	from, errFrom := j.run.Point(x.From)
	to, errTo := j.run.Point(x.To)
	if errFrom != nil || errTo != nil {
		return otherVoltages
	}
	a, b := j.sideOf(e, from.Place), j.sideOf(e, to.Place)
	switch {
	case a == 0 || b == 0:
		return otherVoltages
	case from.Place == to.Place && e.Kind == run.KindJoint:
		return "the pair voltages either side of it"
	case from.Place == to.Place && e.Kind == run.KindSupply:
		return "the pair voltages at it"
	case from.Place == to.Place && e.Kind == run.KindFeed:
		return "the pair voltages at its two ends"
	case from.Place == to.Place:
		return "the pair voltages along it"
	}
	return "the voltages from one side of it to the other"
}

// sideOf returns on which side of an element a place is: 1 or 2; 0 for neither. All of a reel is
// one side.
func (j *judgement) sideOf(e *estimate.Element, at run.Place) int {
	r := j.run
	ends := [2]run.Place{}
	switch e.Kind {
	case run.KindJoint:
		joint := r.Joints[e.Index]
		ends = [2]run.Place{{Kind: run.AtReel, Index: joint.From, Pixel: r.Reels[joint.From].Pixels}, {Kind: run.AtReel, Index: joint.To, Pixel: 1}}
	case run.KindFeed:
		ends = [2]run.Place{r.Feeds[e.Index].From, r.Feeds[e.Index].To}
	case run.KindSupply:
		ends = [2]run.Place{{Kind: run.AtSupply, Index: e.Index}, {Kind: run.AtSupply, Index: e.Index}}
	case run.KindReel:
		if at.Kind == run.AtReel && at.Index == e.Index {
			return 1
		}
		return 0
	}
	return 1 + slices.Index(ends[:], at)
}

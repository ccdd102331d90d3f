package judge

import (
	"fmt"
	"math"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// condition states in words that unknown k differs from its estimate by its shift, in its SI unit or
// as a ratio.
func (j *judgement) condition(k int, shifts []float64) string {
	p, shift := j.est.Model, shifts[k]
	u := &p.Unknowns[k]
	inStep := func() string { return fmt.Sprintf(" in step %q", j.run.Steps[p.Steps[u.Step]].Name) }
	much := func(unit string, value float64) string {
		return fmt.Sprintf("%s %s %s", twoFigures(value), unit, moreOrLess(value))
	}
	switch u.What {
	case model.JointRail:
		return j.conductorCondition(run.KindJoint, u.Index, p.Joints[u.Index], k, shifts)
	case model.FeedRail:
		return j.conductorCondition(run.KindFeed, u.Index, p.Feeds[u.Index], k, shifts)
	case model.ReelRail:
		other := p.Reels[u.Index][run.Plus] + p.Reels[u.Index][run.Minus] - k
		what, has := "reel "+j.run.Reels[u.Index].Name, j.est.X[k]
		if alike(shift, shifts[other]) {
			shift, has = shift+shifts[other], has+j.est.X[other]
		} else {
			what += fmt.Sprintf("'s %s conductor", u.Rail)
		}
		return what + " had " + much("%", 100*shift/math.Max(has, 0.1))
	case model.SupplyVolts:
		return fmt.Sprintf("supply %s gave %s", j.run.Supplies[u.Index].Name, much("V", shift))
	case model.StepVolts:
		return fmt.Sprintf("supply %s gave %s", j.run.Supplies[u.Index].Name, much("V", shift)) + inStep()
	case model.SupplyOhms:
		return fmt.Sprintf("supply %s's output had %s", j.run.Supplies[u.Index].Name, much("mΩ", 1000*shift))
	case model.CurrentScale, model.StepCurrentScale:
		return j.currentCondition(shifts)
	case model.CurrentTrend:
		return j.trendCondition(u.Index, shift)
	case model.IdleCurrentScale:
		return "the pixels' idle current were " + much("%", 100*shift)
	case model.KneeShift, model.StepKneeShift, model.KneeStretch:
		return "the pixels began to dim at another voltage"
	case model.CopperTemperature:
		return fmt.Sprintf("the copper were %s K %s", twoFigures(shift), warmerOrColder(shift))
	case model.StepTemperature:
		return fmt.Sprintf("the copper were %s K %s", twoFigures(shift), warmerOrColder(shift)) + inStep()
	case model.FeedFollows:
		return fmt.Sprintf("the feeds' wire took %s of the strip's warmth", much("%", 100*shift))
	case model.FeedHeat:
		return fmt.Sprintf("the wire of feed %s were warmed %s K %s by its own current", j.run.Feeds[u.Index].Name, twoFigures(shift), moreOrLess(shift))
	case model.StepUnlistedScale:
		return "what is not in the run file drew " + much("%", 100*shift) + inStep()
	case model.UnlistedShare:
		return fmt.Sprintf("what is not in the run file drew %s of the run's current at reel %s", much("%", 100*shift), j.run.Reels[p.UnlistedAt()].Name)
	case model.FoilFactor:
		return "the strip's copper had " + much("%", 100*shift)
	case model.FoilShare:
		return fmt.Sprintf("the strip's plus had %s than its minus", much("%", 200*shift))
	}
	s := p.MeterRanges[u.Index]
	meter := fmt.Sprintf("meter %s showed on its range to %.3g %s", p.Run.Meters[s.Meter].Name, s.Limits.UpTo, unitOf(s.Limits.Quantity))
	if u.What == model.Gain {
		return fmt.Sprintf("%s %s %% too %s", meter, twoFigures(100*shift), muchOrLittle(shift))
	}
	return fmt.Sprintf("%s %s m%s too %s", meter, twoFigures(1000*shift), unitOf(s.Limits.Quantity), muchOrLittle(shift))
}

// conductorCondition states in words how unknown k, one of the rails of a joint or feed, differs from
// its estimate. Where both rails differ the same way it is one statement on the element.
func (j *judgement) conductorCondition(kind run.Kind, index int, rails [2]int, k int, shifts []float64) string {
	what := fmt.Sprintf("%s %s", kind, j.name(&estimate.Element{Kind: kind, Index: index}))
	change := func(k int) (ohms, after float64) {
		after = prior.ToOhms(math.Max(j.est.X[k]+shifts[k], 0))
		return after - prior.ToOhms(math.Max(j.est.X[k], 0)), after
	}
	own, after := change(k)
	other := 0.0
	if at := rails[0] + rails[1] - k; rails[0] >= 0 && rails[1] >= 0 {
		other, _ = change(at)
	}
	if alike(own, other) {
		own += other
	} else {
		what += fmt.Sprintf("'s %s conductor", j.est.Model.Unknowns[k].Rail)
	}
	if after > openOhms {
		return what + " were open"
	}
	return fmt.Sprintf("%s had %s %s", what, milli(math.Abs(own)), moreOrLess(own))
}

// alike reports whether both rails of an element differ by about as much, the same way.
func alike(a, b float64) bool {
	return a*b > 0 && math.Abs(a) < 3*math.Abs(b) && math.Abs(b) < 3*math.Abs(a)
}

// currentCondition states in words how the pixels' current differs: in the step in which it differs
// most, where that matters.
func (j *judgement) currentCondition(shifts []float64) string {
	common, own, step := 0.0, 0.0, ""
	for k, u := range j.est.Model.Unknowns {
		switch {
		case u.What == model.CurrentScale:
			common = shifts[k]
		case u.What == model.StepCurrentScale && math.Abs(shifts[k]) > math.Abs(own):
			own, step = shifts[k], j.run.Steps[j.est.Model.Steps[u.Step]].Name
		}
	}
	if math.Abs(own) > 0.1*math.Abs(common) {
		return fmt.Sprintf("the pixels drew %s %% %s in step %q", twoFigures(100*(common+own)), moreOrLess(common+own), step)
	}
	return fmt.Sprintf("the pixels drew %s %% %s", twoFigures(100*common), moreOrLess(common))
}

// trendCondition states in words that one term of the trend of the pixels' current along the run
// differs by its shift.
func (j *judgement) trendCondition(term int, shift float64) string {
	reels := j.run.Reels
	first, last := reels[0].Name, reels[len(reels)-1].Name
	between := pixel.TrendAt(term, len(reels)-1, len(reels))
	if term == 0 {
		between -= pixel.TrendAt(term, 0, len(reels))
		return fmt.Sprintf("the pixels of reel %s drew %s %% %s than those of %s", last, twoFigures(100*between*shift), moreOrLess(between*shift), first)
	}
	between -= pixel.TrendAt(term, len(reels)/2, len(reels))
	return fmt.Sprintf("the pixels of reels %s and %s drew %s %% %s than those between", first, last, twoFigures(100*between*shift), moreOrLess(between*shift))
}

// twoFigures writes the size of a number with two digits or more, without an exponent.
func twoFigures(x float64) string {
	if x = math.Abs(x); x >= 99.5 {
		return fmt.Sprintf("%.0f", x)
	}
	return fmt.Sprintf("%.2g", x)
}

func unitOf(q run.Quantity) string {
	if q == run.Current {
		return "A"
	}
	return "V"
}

func moreOrLess(x float64) string {
	if x < 0 {
		return "less"
	}
	return "more"
}

func warmerOrColder(x float64) string {
	if x < 0 {
		return "colder"
	}
	return "warmer"
}

func muchOrLittle(x float64) string {
	if x < 0 {
		return "little"
	}
	return "much"
}

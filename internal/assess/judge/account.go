package judge

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/matrix"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

const (
	// maxReasons is how many conditions an account names, and minReasonSigmas the least standard
	// deviations of the prior that one of them must be off to be named.
	maxReasons      = 2
	minReasonSigmas = 0.3
	// minTrade is the least correlation with another resistance for which that is named.
	minTrade = 0.5
	// minReadingSigmas is the least standard deviations that one reading must be off to be named.
	minReadingSigmas = 0.7
)

// account states for an undecided element how far it may be on the other side of its limit, and
// under which conditions: the unknowns, or else the reading, that differ most from their estimates
// when the element is held there. The conditions follow from the covariance and are approximate. It
// returns "" where the element has a verdict or no reading depends on it.
func (j *judgement) account(i int) string {
	e, x := &j.est.Elements[i], j.assessed(i)
	if j.out.Unread || x == nil || x.Verdict != assessment.Unproven || !e.Known && x.Amps >= minJudgeableAmps || e.Open || math.IsNaN(x.Limit) || j.est.Covariance == nil {
		return ""
	}
	along := matrix.Times(j.est.Covariance, e.Row)
	variance := matrix.Dot(e.Row, along)
	if !(variance > 0) {
		return ""
	}
	at, could := j.otherSide(x)
	if x.Amps < minJudgeableAmps {
		return could + fmt.Sprintf(": no step sends more than %.2g A through it, so that readings hardly show it.", math.Max(x.Amps, 0.001))
	}
	move := (e.Scale(at) - math.Max(e.Belief.Mean, 0)) / variance
	for k := range along {
		along[k] *= move
	}
	return could + " if " + j.conditions(e, along, math.Abs(move)*math.Sqrt(variance)) + "."
}

// otherSide returns a value, Ω, of an element on the other side of its limit that the readings do
// not exclude, and a sentence that states it.
func (j *judgement) otherSide(x *assessment.Element) (at float64, text string) {
	switch {
	case x.Ohms > x.Limit && x.Low < x.Limit:
		return x.Low, "It could have " + size(x, x.Low)
	case x.Ohms <= x.Limit && x.High > x.Limit:
		at = math.Min(x.High, 2*x.Limit) // of an interval without an end, a value that is certainly bad
		return at, "It could have " + size(x, at)
	}
	return x.Limit, "It could reach its limit of " + size(x, x.Limit)
}

// conditions names the unknowns that differ most from their estimates when the element differs from
// its own by a number of standard deviations. shifts holds the shift of each unknown.
func (j *judgement) conditions(e *estimate.Element, shifts []float64, sigmas float64) string {
	type reason struct {
		text string
		size float64
	}
	var reasons []reason
	for k, u := range j.est.Model.Unknowns {
		_, deviation := j.est.Model.PriorOf(j.est.Assumptions, k)
		size := math.Abs(shifts[k]) / deviation
		if u.WidePrior {
			size = math.Abs(shifts[k]) / sigmas / math.Sqrt(j.est.Covariance.At(k, k)) / minTrade * minReasonSigmas
		}
		if e.Row[k] == 0 && size >= minReasonSigmas { // else a conductor of the element itself
			reasons = append(reasons, reason{j.condition(k, shifts[k]), size})
		}
	}
	slices.SortStableFunc(reasons, func(a, b reason) int { return cmp.Compare(b.size, a.size) })
	if len(reasons) == 0 {
		return j.readingOff(shifts)
	}
	var texts []string
	for _, r := range reasons[:min(len(reasons), maxReasons)] {
		texts = append(texts, r.text)
	}
	return strings.Join(texts, " and ")
}

// readingOff names the reading that would be off by most standard deviations of its noise if all
// unknowns were shifted.
func (j *judgement) readingOff(shifts []float64) string {
	most, text := minReadingSigmas, "several readings were off at once, each by its usual scatter"
	for i := range j.est.Observations {
		o := &j.est.Observations[i]
		_, row, err := j.est.Predict(o)
		if err != nil || o.Excluded {
			continue
		}
		off := matrix.Dot(row, shifts)
		if sigmas := math.Abs(off) / o.Deviation; sigmas > most {
			most = sigmas
			text = fmt.Sprintf("%s were off by %s m%s", lineOf(j.out.Readings[o.Reading]), twoFigures(1000*off), unitOf(j.est.Model.MeterRanges[o.MeterRange].Limits.Quantity))
		}
	}
	return text
}

// minJudgeableAmps is the current, A, below which the drop over a joint at the usual limit of 15 mΩ
// is less than 0.1 mV (computed).
const minJudgeableAmps = 0.006

// condition states in words that unknown k differs from its estimate by a shift, in its SI unit or
// as a ratio.
func (j *judgement) condition(k int, shift float64) string {
	p := j.est.Model
	u := &p.Unknowns[k]
	inStep := func() string { return fmt.Sprintf(" in step %q", j.run.Steps[p.Steps[u.Step]].Name) }
	much := func(unit string, value float64) string {
		return fmt.Sprintf("%s %s %s", twoFigures(value), unit, moreOrLess(value))
	}
	conductor := func(kind run.Kind) string {
		e := estimate.Element{Kind: kind, Index: u.Index}
		return fmt.Sprintf("%s %s's %s conductor", kind, j.name(&e), u.Rail)
	}
	switch u.What {
	case model.JointRail, model.FeedRail:
		kind := run.KindJoint
		if u.What == model.FeedRail {
			kind = run.KindFeed
		}
		return conductor(kind) + " had " + much("mΩ", 1000*shift)
	case model.ReelRail:
		return conductor(run.KindReel) + " had " + much("%", 100*shift/math.Max(j.est.X[k], 0.1))
	case model.SupplyVolts:
		return fmt.Sprintf("supply %s gave %s", j.run.Supplies[u.Index].Name, much("V", shift))
	case model.StepVolts:
		return fmt.Sprintf("supply %s gave %s", j.run.Supplies[u.Index].Name, much("V", shift)) + inStep()
	case model.SupplyOhms:
		return fmt.Sprintf("supply %s's output had %s", j.run.Supplies[u.Index].Name, much("mΩ", 1000*shift))
	case model.CurrentScale:
		return "the pixels drew " + much("%", 100*shift)
	case model.StepCurrentScale:
		return "the pixels drew " + much("%", 100*shift) + inStep()
	case model.IdleCurrentScale:
		return "the pixels' idle current were " + much("%", 100*shift)
	case model.KneeShift, model.StepKneeShift, model.KneeStretch:
		return "the pixels began to dim at another voltage"
	case model.CopperTemperature:
		return fmt.Sprintf("the copper were %s K %s", twoFigures(shift), warmerOrColder(shift))
	case model.StepTemperature:
		return fmt.Sprintf("the copper were %s K %s", twoFigures(shift), warmerOrColder(shift)) + inStep()
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

// ruledOutBy names the next reading that settles an element; "" if there is none.
func (j *judgement) ruledOutBy(i int) string {
	name := j.name(&j.est.Elements[i])
	for _, n := range j.out.Next {
		if !slices.Contains(n.Settles, name) {
			continue
		}
		what := fmt.Sprintf("the voltage from %s to %s", n.From, n.To)
		if n.Quantity == run.Current {
			what = "the current of " + n.From
		}
		return fmt.Sprintf(" Reading %s in step %q would decide.", what, n.Step)
	}
	return ""
}

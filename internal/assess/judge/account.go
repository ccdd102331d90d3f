package judge

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/prior"
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
// when the element is held there. The conditions are approximate. It returns "" where the element has
// a verdict or no reading depends on it.
func (j *judgement) account(i int) string {
	e, x := &j.est.Elements[i], j.assessed(i)
	if j.out.Unread || x == nil || x.Verdict != assessment.Unproven || !e.Known && x.Amps >= minJudgeableAmps || e.Open || math.IsNaN(x.Limit) || j.est.Covariance == nil {
		return ""
	}
	if text := j.withheld[i]; text != "" {
		return text
	}
	at, could := j.otherSide(x)
	shifts, sigmas, ok := j.est.ShiftTo(i, at)
	if !ok {
		return ""
	}
	if x.Amps < minJudgeableAmps {
		return could + fmt.Sprintf(": no step sends more than %.2g A through it, so that readings hardly show it.", math.Max(x.Amps, 0.001))
	}
	return could + " if " + j.conditions(e, shifts, sigmas) + "."
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
		if e.Row[k] != 0 || size < minReasonSigmas { // of the element itself, or about as estimated
			continue
		}
		text := j.condition(k, shifts)
		if at := slices.IndexFunc(reasons, func(r reason) bool { return r.text == text }); at >= 0 {
			reasons[at].size = math.Max(reasons[at].size, size) // the other rail of the same element
			continue
		}
		reasons = append(reasons, reason{text, size})
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
		rails := p.Reels[u.Index]
		what := "reel " + j.run.Reels[u.Index].Name
		if other := shifts[rails[0]+rails[1]-k]; alike(shift, other) {
			shift = (shift + other) / 2
		} else {
			what += fmt.Sprintf("'s %s conductor", u.Rail)
		}
		return what + " had " + much("%", 100*shift/math.Max(j.est.X[k], 0.1))
	case model.SupplyVolts:
		return fmt.Sprintf("supply %s gave %s", j.run.Supplies[u.Index].Name, much("V", shift))
	case model.StepVolts:
		return fmt.Sprintf("supply %s gave %s", j.run.Supplies[u.Index].Name, much("V", shift)) + inStep()
	case model.SupplyOhms:
		return fmt.Sprintf("supply %s's output had %s", j.run.Supplies[u.Index].Name, much("mΩ", 1000*shift))
	case model.CurrentScale, model.StepCurrentScale:
		return j.currentCondition(shifts)
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

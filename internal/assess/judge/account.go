package judge

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/numeric/matrix"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
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
// under which conditions. Where most of that probability comes from another explanation of the readings,
// these are what that one supposes. Otherwise they are the unknowns, or else the reading, that differ most
// from their estimates when the element is held there, and are approximate. It returns "" where the
// element has a verdict, or would pass by itself, or no reading depends on it.
func (j *judgement) account(i int) string {
	e, x := &j.est.Elements[i], j.assessed(i)
	if j.out.Unread || x == nil || x.Verdict != assessment.Unproven || !e.Known && x.Amps >= minJudgeableAmps || e.Open || math.IsNaN(x.Limit) || j.est.Covariance == nil {
		return ""
	}
	if j.wouldPass(i, x) {
		return ""
	}
	own, supposes := *x, ""
	if k := j.explanationBeyond(i, x); k >= 0 {
		low, high := verdict.Mixture{{Weight: 1, Distribution: j.mixtures[i][k].Distribution}}.Interval(coverage)
		own.Low, own.High = math.Max(e.Ohms(low), x.Low), math.Min(e.Ohms(high), x.High)
		supposes = j.supposition(k)
	}
	at, could := otherSide(&own, j.statedOhms(e))
	if supposes != "" {
		return could + " if " + supposes + "."
	}
	shifts, sigmas, ok := j.est.ShiftTo(i, at)
	if !ok {
		return ""
	}
	if x.Amps < minJudgeableAmps {
		return could + fmt.Sprintf(": no step sends more than %.2g A through it, so that readings hardly show it.", math.Max(x.Amps, 0.001))
	}
	return could + " if " + j.conditions(e, shifts, sigmas) + "."
}

// explanationBeyond returns the explanation from which most of the probability comes that an element is
// on the other side of its limit; the best one where a part of it comes from there, and −1 where there is
// no other.
func (j *judgement) explanationBeyond(i int, x *assessment.Element) int {
	if len(j.mixtures[i]) < 2 {
		return -1
	}
	var parts []float64
	sum, most := 0.0, 0
	for k, c := range j.mixtures[i] {
		part := c.ProbabilityAbove(j.est.Elements[i].Scale(x.Limit))
		if x.Ohms > x.Limit {
			part = 1 - part
		}
		parts = append(parts, part*c.Weight)
		if sum += parts[k]; parts[k] > parts[most] {
			most = k
		}
	}
	if parts[0] > minOwnPart*sum {
		return 0
	}
	return most
}

// minOwnPart is the part of the probability from which on the account is that by the best explanation.
const minOwnPart = 0.1

// otherSide returns a value, Ω, of an element on the other side of its limit that the readings do
// not exclude, and a sentence that states it: no lower one than what the run file states, and no higher
// one than is certainly bad.
func otherSide(x *assessment.Element, stated float64) (at float64, text string) {
	switch {
	case x.Ohms > x.Limit && x.Low < x.Limit:
		at = math.Max(x.Low, math.Min(stated, x.Limit))
		return at, "It could have " + size(x, at)
	case x.Ohms <= x.Limit && x.High > x.Limit:
		at = math.Min(x.High, 2*x.Limit)
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

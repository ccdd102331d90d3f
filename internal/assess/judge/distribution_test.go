package judge

import (
	"math"
	"testing"

	"ohmkeep/internal/verdict"
)

// Where an explanation leaves an element as in the best one, the likelihood is taken from there: what follows
// is what its own likelihood gives, within a tenth of a standard deviation.
func TestLikelihoodOfTheBestExplanation(t *testing.T) {
	taken := 0
	for _, name := range []string{"slip", "bad"} {
		r, readings := stored(t, name)
		j, err := judgeReadings(r, readings)
		if err != nil {
			t.Fatal(err)
		}
		for i, m := range j.mixtures {
			if len(m) < 2 {
				continue
			}
			own := make(verdict.Mixture, len(m))
			for k, est := range j.explanations {
				e := &est.Elements[i]
				own[k] = m[k]
				if k > 0 && e.Known && e.Belief.Near(j.est.Elements[i].Belief) {
					taken++
					own[k].Distribution = est.Profile(i).Distribution(j.limit(e))
				}
			}
			e := &j.est.Elements[i]
			limit := e.Scale(j.limit(e))
			if a, b := m.ProbabilityAbove(limit), own.ProbabilityAbove(limit); math.Abs(a-b) > 0.002 {
				t.Errorf("%s: element %d is above its limit with %g, by its own likelihood with %g", name, i, a, b)
			}
			low, high := m.Interval(coverage)
			ownLow, ownHigh := own.Interval(coverage)
			within := 0.1 * e.Belief.Deviation
			if !math.IsInf(ownHigh, 1) { // also of an open one, which is held in the fit
				within = 0.1 * (ownHigh - ownLow) / (2 * verdict.Coverage95)
			}
			if math.Abs(low-ownLow) > within || high != ownHigh && math.Abs(high-ownHigh) > within {
				t.Errorf("%s: element %d has %g to %g, by its own likelihood %g to %g", name, i, low, high, ownLow, ownHigh)
			}
		}
	}
	if taken == 0 {
		t.Error("no explanation leaves an element as it is, so the test shows nothing")
	}
	t.Logf("%d taken", taken)
}

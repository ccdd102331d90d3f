package verdict

import (
	"math"
	"testing"

	"ohmkeep/internal/result/assessment"
)

// The worked examples of JCGM 106:2012 for one item: the conformance probability is
// Φ((limit − y)/u) for a quantity that must stay below, and one less that for one that
// must stay above. Inputs and printed results are FROM MEMORY; the digits follow from
// the formula. Zero is at least 7 standard deviations away, so the cut there has no effect.
func TestConformanceProbability(t *testing.T) {
	// Breakdown voltage of a Zener diode, −5.47 V with u = 0.05 V, at most −5.40 V. A
	// belief is not negative: its size is at least 5.40 V.
	if got := (Belief{Mean: 5.47, Deviation: 0.05}).ProbabilityAbove(5.40); math.Abs(got-0.9192433) > 5e-8 {
		t.Errorf("diode conforms with %.8f, want 0.9192433 (printed 0.92)", got)
	}
	// Viscosity of an oil, 13.6 mm²/s with u = 1.8 mm²/s, from 12.5 to 16.3.
	oil := Belief{Mean: 13.6, Deviation: 1.8}
	if got := oil.ProbabilityAbove(12.5) - oil.ProbabilityAbove(16.3); math.Abs(got-0.6626298) > 5e-8 {
		t.Errorf("oil conforms with %.8f, want 0.6626298 (printed 0.66)", got)
	}
}

// JCGM 106:2012, the ball bearings of 9.5.4: the radial error of what is made has a
// gamma distribution of shape 4 and scale 1/4 µm, the limit is 2 µm and u = 0.25 µm.
// The global risk of the consumer is the integral, beyond the limit, of the density
// times the probability of a reading inside the acceptance limit. Values as restated
// by a public implementation and integrated again: 0.8 % without a guard band, 0.1 %
// with one of 0.328 µm.
func TestGlobalRisk(t *testing.T) {
	const limit, u = 2.0, 0.25
	density := func(x float64) float64 { return math.Pow(4, 4) / 6 * x * x * x * math.Exp(-4*x) }
	integral := func(f func(x float64) float64) float64 { // Simpson's rule from the limit to where the density is negligible
		const n, to = 4000, 14.0
		h, sum := (to-limit)/n, f(limit)+f(to)
		for i := 1; i < n; i++ {
			sum += float64(2+2*(i%2)) * f(limit+float64(i)*h)
		}
		return sum * h / 3
	}
	if got := integral(density); math.Abs(got-0.0423801119917) > 1e-12 {
		t.Errorf("beyond the limit are %.13f, want 0.0423801119917", got)
	}
	for _, c := range []struct{ accept, want float64 }{{2, 0.008019111884}, {1.671828772, 0.001}} {
		got := integral(func(x float64) float64 {
			return density(x) * (1 - Belief{Mean: x, Deviation: u}.ProbabilityAbove(c.accept))
		})
		if math.Abs(got-c.want) > 1e-10 {
			t.Errorf("accepting up to %g: risk %.12f, want %.12f", c.accept, got, c.want)
		}
	}
}

// A reading at a guard band g = u·Φ⁻¹(1 − p) below the limit has the specific risk p of
// being over it (JCGM 106:2012, clause 8); ILAC-G8:09/2019 states less than 2.5 % for
// a guard band of U = 2·u and less than 50 % without one.
func TestGuardBand(t *testing.T) {
	const limit, u = 100.0, 1.0
	for _, c := range []struct{ band, risk, within float64 }{
		{1.6448536269514722, 0.05, 1e-13},
		{1.9599639845400545, 0.025, 1e-13},
		{2.3263478740408408, 0.01, 1e-13},
		{1.645, 0.05, 2e-5}, {1.960, 0.025, 3e-6}, {2.326, 0.01, 1e-5}, // as the tables round them
		{2, 0.0227501319481792, 1e-13}, {0, 0.5, 1e-13},
	} {
		if got := (Belief{Mean: limit - c.band*u, Deviation: u}).ProbabilityAbove(limit); math.Abs(got-c.risk) > c.within {
			t.Errorf("guard band %g u: risk %.15f, want %.15f", c.band, got, c.risk)
		}
	}
	if risk := (Belief{Mean: limit - 2*u, Deviation: u}).ProbabilityAbove(limit); risk >= 0.025 {
		t.Errorf("guard band U: risk %g, want less than 0.025", risk)
	}
}

// For any number of elements of a healthy run the probability that one fails is at most 1 %:
// an element with the limit for its true value fails with at most 1 − Fail.
func TestRuleFor(t *testing.T) {
	for _, judged := range []int{-1, 0, 1, 2, 10, 100, 100000} {
		r := RuleFor(judged)
		any := -math.Expm1(float64(max(judged, 1)) * math.Log(r.Fail))
		if any > 0.01*(1+1e-9) || any < 0.00999 {
			t.Errorf("%d judged: any false failure %g, want 0.01", judged, any)
		}
		if r.Pass != 0.005 || r.Fail < 0.99 {
			t.Errorf("%d judged: %+v", judged, r)
		}
	}
}

func TestJudge(t *testing.T) {
	r := Rule{Fail: 0.99, Pass: 0.005}
	for _, c := range []struct {
		over  float64
		known bool
		want  assessment.Verdict
	}{
		{1, true, assessment.Fail},
		{0.99, true, assessment.Fail},
		{0.9899, true, assessment.Unproven},
		{0.0051, true, assessment.Unproven},
		{0.005, true, assessment.Pass},
		{0, true, assessment.Pass},
		{math.NaN(), true, assessment.Unproven},
		{1, false, assessment.Unproven},
		{0, false, assessment.Unproven},
	} {
		if got := r.Judge(c.over, c.known); got != c.want {
			t.Errorf("over %g, known %v: %s, want %s", c.over, c.known, got, c.want)
		}
	}
	// A quantity of which nothing is known is unproven for any limit.
	if got := r.Judge(Belief{Mean: 5, Deviation: math.Inf(1)}.ProbabilityAbove(0.001), true); got != assessment.Unproven {
		t.Errorf("nothing known: %s", got)
	}
}

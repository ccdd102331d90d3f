package verdict

import (
	"math"
	"math/rand/v2"
	"testing"
)

// z95 is the 95 % quantile of the standard normal distribution (Abramowitz and Stegun, Handbook of
// Mathematical Functions, table 26.5, has 1.64485).
const z95 = 1.6448536269514722

// Of two explanations of the same weight, far apart, each end of the interval is that of one of them,
// with twice the rest: 5 %.
func TestMixtureOfTwo(t *testing.T) {
	two := Mixture{{0.5, Distribution{Belief: Belief{Mean: 1, Deviation: 0.1}}}, {0.5, Distribution{Belief: Belief{Mean: 3, Deviation: 0.1}}}}
	low, high := two.Interval(0.95)
	if !near(low, 1-0.1*z95, 1e-3) || !near(high, 3+0.1*z95, 1e-3) {
		t.Errorf("%g to %g", low, high)
	}
	for limit, want := range map[float64]float64{0.5: 1, 1: 0.75, 2: 0.5, 3: 0.25, 4: 0} {
		if got := two.ProbabilityAbove(limit); math.Abs(got-want) > 1e-6 {
			t.Errorf("over %g: %g, want %g", limit, got, want)
		}
	}
	// What has less than 2.5 % does not stretch the interval that far.
	two[0].Weight, two[1].Weight = 0.99, 0.01
	if _, high := two.Interval(0.95); high > 1.3 {
		t.Errorf("to %g", high)
	}
}

// A difference of 2·ln 3 in minus twice the logarithm is a factor of three.
func TestWeights(t *testing.T) {
	got := Weights([]float64{7 + 2*math.Log(3), 7})
	if !near(got[0], 0.25, 1e-12) || !near(got[1], 0.75, 1e-12) {
		t.Errorf("%v", got)
	}
	if got := Weights([]float64{0}); got[0] != 1 {
		t.Errorf("%v", got)
	}
}

// A quantity whose square root is normal, 2 ± 0.5: by points of the parabola its probabilities are
// those of the root, and its interval is the square of the root's.
func TestDistributionOnAStretchedScale(t *testing.T) {
	b := Belief{Mean: 2, Deviation: 0.5}
	d := Distribution{Belief: b}
	for root := 0.0; root < 6; root += 0.01 {
		d.Points = append(d.Points, Point{root * root, root})
	}
	for _, root := range []float64{1.5, 2, 2.5, 3, 4} {
		if got, want := d.ProbabilityAbove(root*root), b.ProbabilityAbove(root); !near(got, want, 1e-3) {
			t.Errorf("over %g: %g, want %g", root*root, got, want)
		}
	}
	low, high := d.Interval(0.95)
	lowRoot, highRoot := b.Interval(0.95)
	if !near(low, lowRoot*lowRoot, 1e-3) || !near(high, highRoot*highRoot, 1e-3) {
		t.Errorf("%g to %g", low, high)
	}
}

// Where the likelihood falls no further there is no upper end, and nothing is certain beyond.
func TestDistributionWithoutEnd(t *testing.T) {
	d := Distribution{Belief: Belief{Mean: 0.01, Deviation: 0.01}, Points: []Point{{0, 0}, {0.01, 0.01}, {0.02, 0.022}, {0.9, 0.022}}}
	if low, high := d.Interval(0.95); low != 0 || !math.IsInf(high, 1) {
		t.Errorf("%g to %g", low, high)
	}
	if got := d.DeviationTowards(0.02); !near(got, 0.01*0.01/0.012, 1e-12) {
		t.Errorf("a deviation of %g", got)
	}
	if over := d.ProbabilityAbove(0.5); over < 0.1 || over > 0.2 {
		t.Errorf("over 0.5: %g", over)
	}
}

// Verdict and interval are of one distribution: what passes by a probability of at most 2.5 % has its
// interval below the limit, and what fails by at least 97.5 % above it, for any explanations.
func TestMixtureDecidesAsItsInterval(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 8))
	passed, failed := 0, 0
	for range 400 {
		var m Mixture
		var scores []float64
		for range 1 + rng.IntN(4) {
			d := Distribution{Belief: Belief{Mean: 0.03 * (rng.Float64() - 0.1), Deviation: 0.01 * rng.Float64(), DeviationSpread: 0.3 * rng.Float64()}}
			if base := math.Max(d.Mean, 0); rng.IntN(2) == 0 {
				d.Mean = base
				by := math.Exp(rng.NormFloat64())
				d.Points = []Point{{base, base}, {base + 0.01, base + 0.01*by}, {base + 0.05, base + 0.02*by}}
			}
			m, scores = append(m, Component{0, d}), append(scores, 9*rng.Float64())
		}
		for k, w := range Weights(scores) {
			m[k].Weight = w
		}
		limit := 0.03 * rng.Float64()
		low, high := m.Interval(0.95)
		over := m.ProbabilityAbove(limit)
		switch {
		case over <= 0.02:
			passed++
			if high > limit {
				t.Fatalf("%+v: over %g is %g, and the interval reaches to %g", m, limit, over, high)
			}
		case over >= 0.998:
			failed++
			if low < limit {
				t.Fatalf("%+v: over %g is %g, and the interval reaches down to %g", m, limit, over, low)
			}
		}
	}
	if passed < 10 || failed < 10 {
		t.Errorf("%d passed, %d failed", passed, failed)
	}
}

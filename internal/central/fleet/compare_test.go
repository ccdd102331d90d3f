package fleet

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/result/firm"
)

// The example of Benjamini and Hochberg (J. R. Statist. Soc. B 57, 1995, section 2.2, on
// thrombolysis; FROM MEMORY): of 15 hypotheses, 4 are rejected at a rate of 5 %.
func TestDiscoveries(t *testing.T) {
	p := []float64{0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000}
	if got := discoveries(p, 0.05); got != 4 {
		t.Errorf("%d discoveries, want 4", got)
	}
	if got := discoveries([]float64{0.2, 0.9}, 0.05); got != 0 {
		t.Errorf("%d discoveries, want none", got)
	}
}

// A worked example of Welch's test (two samples of 15, as an encyclopaedia's article on the test has
// it, FROM MEMORY): t = −2.46, 24.99 degrees of freedom, P = 0.021.
func TestWelch(t *testing.T) {
	a := []float64{27.5, 21.0, 19.0, 23.6, 17.0, 17.9, 16.9, 20.1, 21.9, 22.6, 23.1, 19.6, 19.0, 21.7, 21.4}
	b := []float64{27.1, 22.0, 20.8, 23.4, 23.4, 23.5, 25.8, 22.0, 24.8, 20.2, 21.9, 22.1, 22.9, 20.5, 24.4}
	c := welch(firm.Comparison{}, a, b)
	if math.Abs(c.P-0.021) > 0.0005 {
		t.Errorf("P = %.4f, want 0.021", c.P)
	}
	if c.Low > c.Difference || c.High < c.Difference || c.High >= 0 {
		t.Errorf("difference %g, interval %g to %g, which holds 0 although P is below 0.05", c.Difference, c.Low, c.High)
	}
}

// rates makes rates of runs; a batch called "aged" rises by more.
func rates(random *rand.Rand, runs int, more float64) (all []rate) {
	for i := range runs {
		own := 0.01 * random.NormFloat64() // what a run's elements share
		for range 4 {
			x := rate{run: [2]string{"1", fmt.Sprint(i)}, kind: "reel", made: fmt.Sprintf("batch %d", i%5), installer: fmt.Sprintf("crew %d", i%3),
				sum: 0.005 + own + 0.004*random.NormFloat64(), elements: 1}
			if i%5 == 0 {
				x.made, x.sum = "aged", x.sum+more
			}
			all = append(all, x)
		}
	}
	return all
}

// Where nothing differs, hardly ever is a difference shown; where a batch ages, it is found, and
// nothing else.
func TestComparisons(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 8))
	const fleets = 400
	alarms, found, others, covered := 0, 0, 0, 0
	for range fleets {
		any := false
		for _, c := range compare(rates(random, 40, 0)) {
			any = any || c.Significant
		}
		if any {
			alarms++
		}
		for _, c := range compare(rates(random, 40, 0.03)) {
			switch {
			case c.Group == "aged" && c.Significant:
				found++
			case c.Significant && c.By == "installer": // the installers are all alike
				others++
			}
			if c.Group == "aged" && c.Low <= 0.03 && 0.03 <= c.High {
				covered++
			}
		}
	}
	t.Logf("of %d fleets: %d false alarms, %d aged batches found, %d installers blamed, %d intervals hold the truth", fleets, alarms, found, others, covered)
	// All differences are none: the rate of fleets with an alarm is at most the false discovery rate
	// (5 %); 4 standard deviations of 400 draws above it are 9.4 %.
	if alarms > 37 {
		t.Errorf("%d false alarms in %d fleets", alarms, fleets)
	}
	if found < fleets*95/100 {
		t.Errorf("only %d aged batches found in %d fleets", found, fleets)
	}
	if others > 37 {
		t.Errorf("%d installers blamed in %d fleets", others, fleets)
	}
	if covered < fleets*91/100 {
		t.Errorf("only %d of %d intervals hold the truth", covered, fleets)
	}
}

// With too few runs nothing is said.
func TestFewRuns(t *testing.T) {
	for _, c := range compare(rates(rand.New(rand.NewPCG(1, 1)), 6, 1)) {
		if c.Runs < minRuns && (c.Significant || !math.IsNaN(c.P)) {
			t.Errorf("%+v", c)
		}
	}
}

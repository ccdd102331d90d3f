package verdict

import (
	"math"
	"math/rand/v2"
	"testing"
)

func near(got, want, relative float64) bool {
	return got == want || math.Abs(got-want) <= relative*math.Abs(want)
}

// Expected values were computed with 60 digits from the definition, the ratio of two
// complementary error functions.
func TestProbabilityAbove(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for _, c := range []struct{ mean, deviation, limit, want float64 }{
		{0, 1, 1, 0.31731050786291410283},
		{0.003, 0.004, 0.015, 0.0017454690643363770862},
		{5, 1, 0.001, 0.99999999850955730554},
		{1, 0.1, 0.5, 0.99999971334842812081},
		// Both tails.
		{1, 0.1, 2, 7.619853024160526066e-24},
		{3, 1, 40, 5.733310607227997839e-300},
		{3, 1, 400, 0},
		// Means below zero, on both sides of where the way of computing changes.
		{-8, 1, 0.1, 0.44172589740610794345},
		{-8, 1, 1, 0.00018141706453202388835},
		{-9.99, 1, 0.3, 0.046372976966920091898},
		{-10.01, 1, 0.3, 0.046098112464212908499},
		{-30, 1, 0.05, 0.22248143808824814705},
		{-1000, 1, 0.001, 0.36787888935361412091},
		{-1e6, 1, 2e-6, 0.13533528323607135076},
		// A value known exactly, and an infinite quantity.
		{2, 0, 1, 1}, {1, 0, 1, 0}, {-2, 0, 0, 0}, {inf, 1, 1e9, 1}, {1, 1, inf, 0}, {-20, 1, inf, 0},
		{1, 1, 0, 1}, {-8, 1, 0, 1},
		// Nothing known.
		{1, inf, 1, nan}, {1, nan, 1, nan}, {nan, 1, 1, nan}, {1, 1, nan, nan}, {1, 0, nan, nan}, {1, -1, 1, nan}, {-inf, 1, 1, nan},
	} {
		got := Belief{Mean: c.mean, Deviation: c.deviation}.ProbabilityAbove(c.limit)
		if math.IsNaN(got) != math.IsNaN(c.want) || !math.IsNaN(got) && !near(got, c.want, 1e-12) {
			t.Errorf("%g ± %g over %g: %.17g, want %.17g", c.mean, c.deviation, c.limit, got, c.want)
		}
	}
}

// Expected values were computed with 60 digits by bisection. Where p is 1e-12 and the
// belief is cut off at zero close to its mean, 1 − p has only three or four digits.
func TestQuantile(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for _, c := range []struct{ mean, deviation, p, want, relative float64 }{
		{0, 1, 0.5, 0.6744897501960817432, 1e-14},
		{0, 1, 0.975, 2.2414027276049453751, 1e-14},
		{0, 1, 0.999999999999, 7.130506848171324458, 1e-5},
		{0.003, 0.004, 0.975, 0.011270783401076616479, 1e-14},
		{1, 0.1, 0.975, 1.1959963984540054236, 1e-14},
		{1, 0.1, 0.025, 0.80400360154599457645, 1e-14},
		{1, 0.1, 1e-12, 0.29655161746999306034, 1e-12},
		{0.5, 1, 1e-12, 1.9640174953570294125e-12, 1e-3},
		{-8, 1, 0.5, 0.084911007391544102381, 1e-13},
		{-8, 1, 0.975, 0.4423396254334655949, 1e-13},
		{-8, 1, 1e-12, 1.231319632579929422e-13, 5e-3},
		{-1000, 1, 0.975, 0.0036888689613820493174, 1e-13},
		{2, 0, 0.3, 2, 0}, {-2, 0, 0.3, 0, 0},
		{1, inf, 0.5, inf, 0}, {inf, 1, 0.5, inf, 0}, {nan, 1, 0.5, inf, 0},
		{1, 1, 0, 0, 0}, {1, 1, 1, inf, 0},
	} {
		if got := (Belief{Mean: c.mean, Deviation: c.deviation}).Quantile(c.p); !near(got, c.want, c.relative) {
			t.Errorf("%g of %g ± %g: %.17g, want %.17g", c.p, c.mean, c.deviation, got, c.want)
		}
	}
}

func TestInterval(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct{ mean, deviation, low, high float64 }{
		{1, 0.1, 1 - 0.1959963984540054, 1 + 0.1959963984540054}, // z = 1.959964 for 95 %
		{0.1, 0.1, 0, 0.303285437894766},                         // cut off at zero: the upper end is the quantile of 97.5 %
		{-8, 1, 0, 0.4423396254334656},                           // as is that of a mean far below zero, see TestQuantile
		{3, 0, 3, 3}, {-3, 0, 0, 0},
		{1, inf, 0, inf}, {1, math.NaN(), 0, inf}, {math.NaN(), 1, 0, inf},
	} {
		low, high := Belief{Mean: c.mean, Deviation: c.deviation}.Interval(0.95)
		if !near(low, c.low, 1e-8) || !near(high, c.high, 1e-8) {
			t.Errorf("%g ± %g: %.10g to %.10g, want %g to %g", c.mean, c.deviation, low, high, c.low, c.high)
		}
	}
}

// beliefs draws means from far below zero to far above, in deviations, of any size.
func beliefs(n int, visit func(b Belief, rng *rand.Rand)) {
	rng := rand.New(rand.NewPCG(6, 7))
	for range n {
		deviation := math.Pow(10, 8*rng.Float64()-6)
		visit(Belief{Mean: deviation * 60 * (rng.Float64() - 0.5), Deviation: deviation}, rng)
	}
}

// ProbabilityAbove does not rise with the limit or fall with the mean, and at a quantile it is
// one minus the quantile's probability.
func TestProperties(t *testing.T) {
	beliefs(2000, func(b Belief, rng *rand.Rand) {
		last := 1.0
		top := b.Quantile(0.999999)
		for k := range 40 {
			limit := top * float64(k) / 30
			over := b.ProbabilityAbove(limit)
			if !(over >= 0 && over <= last) {
				t.Fatalf("%+v: over %g is %g after %g", b, limit, over, last)
			}
			if sum := over + b.probabilityBelow(limit); math.Abs(sum-1) > 1e-12 {
				t.Fatalf("%+v: over and under %g add up to %.17g", b, limit, sum)
			}
			last = over
			more := Belief{Mean: b.Mean + 0.1*b.Deviation, Deviation: b.Deviation}
			if more.ProbabilityAbove(limit) < over*(1-1e-12) {
				t.Fatalf("%+v: a greater mean lowers the probability of %g", b, limit)
			}
		}
		p := 0.001 + 0.998*rng.Float64()
		if over := b.ProbabilityAbove(b.Quantile(p)); math.Abs(over-(1-p)) > 1e-11 {
			t.Fatalf("%+v: over the quantile of %g is %.17g", b, p, over)
		}
		low, high := b.Interval(0.95)
		if held := b.ProbabilityAbove(low) - b.ProbabilityAbove(high); low < 0 || low > high || held < 0.95-1e-9 {
			t.Fatalf("%+v: %g to %g holds %g", b, low, high, held)
		}
	})
}

// TestMills: Mills's ratio where it is used, computed with 60 digits.
func TestMills(t *testing.T) {
	for z, want := range map[float64]float64{10: 0.099028596471731921395, 12: 0.082766286501369177252, 1e8: 1e-8} {
		if got := mills(z); !near(got, want, 1e-15) {
			t.Errorf("Mills's ratio at %g: %.17g, want %.17g", z, got, want)
		}
	}
}

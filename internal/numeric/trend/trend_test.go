package trend

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %.10g, not %g", what, got, want)
	}
}

// US EPA QA/G-9S, p. 109: a series with four values alike and two alike. S, its
// variance and Z as printed there.
var g9s = []float64{10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15}

// USEPA Unified Guidance (2009), EPA 530/R-09-007, example 17-6: sulfate, the date as
// year and decimal month. Results as R's EnvStats gives them for that example.
var (
	sulfateAt = []float64{89.6, 89.8, 90.1, 90.3, 90.6, 90.8, 91.1, 91.3, 91.6, 91.8, 92.1, 92.6, 93.1, 93.6, 94.1, 94.6, 95.1, 95.6, 95.8, 96.1, 96.3, 96.6, 96.8}
	sulfate   = []float64{480, 450, 490, 520, 485, 510, 510, 530, 510, 560, 560, 540, 590, 550, 600, 700, 570, 610, 650, 620, 830, 720, 590}
)

// The same guidance, example 17-7 and 21-8: sodium. It prints 1.33 [0.40, 2.33].
var (
	sodiumAt = []float64{89.6, 90.1, 90.8, 91.1, 92.1, 93.1, 94.1, 95.6, 96.1, 96.3}
	sodium   = []float64{56, 53, 51, 55, 52, 60, 62, 59, 61, 63}
)

func TestMannKendallPublished(t *testing.T) {
	for _, c := range []struct {
		name              string
		y                 []float64
		s                 int
		variance, z, p    float64
		withinVar, within float64
	}{
		{"EPA QA/G-9S p. 109", g9s, 22, 155.33, 1.685, 0.0920, 0.005, 5e-4},
		{"EPA Unified Guidance 17-6", sulfate, 194, 1428, 5.107322, 3.267574e-07, 1e-9, 5e-7},
		// n ≤ 12 without ties has the exact probability; the guidance's is the normal one.
		{"EPA Unified Guidance 17-7", sodium, 25, 125, 2.146625, 2 * upper(10, 25), 1e-9, 5e-7},
	} {
		k := MannKendall(c.y)
		if k.S != c.s {
			t.Errorf("%s: S = %d", c.name, k.S)
		}
		near(t, c.name+": variance", k.Variance, c.variance, c.withinVar)
		near(t, c.name+": Z", normalZ(k), c.z, c.within)
		near(t, c.name+": P", probability(k, c.y), c.p, 1e-4*c.p+5e-5*math.Min(1, c.within*1e3))
	}
	near(t, "17-7: normal P", normalP(MannKendall(sodium)), 0.03182313, 1e-6)
}

// Exact upper tails (counted out; the spot values of Hollander and Wolfe's and Gilbert's
// tables as remembered), and Hollander, Wolfe and Chicken, 3rd edition, examples 8.1
// and 9.1 with their one-sided probabilities.
func TestMannKendallExact(t *testing.T) {
	for _, c := range []struct {
		n, s int
		p    float64
	}{{3, 3, 0.166666666667}, {4, 4, 0.16667}, {4, 6, 0.04167}, {5, 6, 0.11667}, {5, 8, 0.04167}, {5, 10, 0.00833},
		{6, 9, 0.0680555555556}, {7, 13, 0.0345238095238}, {8, 14, 0.05434}, {8, 16, 0.03051}, {10, 21, 0.03628}, {10, 23, 0.02331},
		{9, 16, 0.05972}, {4, -6, 1}, {4, 7, 0}} {
		near(t, "P", upper(c.n, c.s), c.p, 6e-6)
	}
	short := []float64{1.26, 1.27, 1.12, 1.16, 1.03} // example 9.1
	// Example 8.1, Hunter L values against panel scores, in the order of the former.
	tuna := []float64{2.5, 4, 2.6, 3.6, 2.8, 3.1, 5.2, 5, 3.8}
	if k := MannKendall(tuna); k.S != 16 || math.Abs(probability(k, tuna)-2*0.05972) > 2e-5 {
		t.Errorf("example 8.1: S = %d, p = %g", k.S, probability(k, tuna))
	}
	if k := MannKendall(short); k.S != -6 || math.Abs(probability(k, short)-2*0.11667) > 2e-5 {
		t.Errorf("example 9.1: S = %d, p = %g", k.S, probability(k, short))
	}
}

func TestTheilSenPublished(t *testing.T) {
	one := []float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}
	for _, c := range []struct {
		name                        string
		x, y                        []float64
		slope, intercept, low, high float64
	}{
		{"EPA Unified Guidance 17-6", sulfateAt, sulfate, 26.6666667, -1909.3333333, 20.00000, 35.71182},
		{"EPA Unified Guidance 17-7", sodiumAt, sodium, 1.3333333, -65.9666667, 0.3992083, 2.3333333},
		{"EPA QA/G-9S p. 109", one, g9s, 1, math.NaN(), math.NaN(), math.NaN()},
		// Hollander, Wolfe and Chicken, 3rd edition, example 9.1; the book takes another intercept.
		{"Hollander 9.1", one[:5], []float64{1.26, 1.27, 1.12, 1.16, 1.03}, -0.05625, math.NaN(), math.NaN(), math.NaN()},
		// Helsel and Hirsch 10.1 (FROM MEMORY): one outlier does not change the slope.
		{"Helsel 10.1", one[:7], []float64{1, 2, 3, 4, 5, 16, 7}, 1, math.NaN(), math.NaN(), math.NaN()},
	} {
		slope := NewSlopes(c.x, c.y).Median()
		near(t, c.name+": slope", slope, c.slope, 5e-8)
		if !math.IsNaN(c.intercept) {
			near(t, c.name+": intercept", Median(c.y)-slope*Median(c.x), c.intercept, 5e-7) // Conover, Practical Nonparametric Statistics
		}
		if !math.IsNaN(c.low) {
			low, high := NewSlopes(c.x, c.y).Interval(MannKendall(c.y).Variance, 1.959964)
			near(t, c.name+": low", low, c.low, 5e-6)
			near(t, c.name+": high", high, c.high, 5e-6)
		}
	}
	if low, high := NewSlopes(one[:3], g9s[:3]).Interval(MannKendall(one[:3]).Variance, 1.96); !math.IsInf(low, -1) || !math.IsInf(high, 1) {
		t.Errorf("three points give a slope of %g to %g", low, high)
	}
}

// USEPA Unified Guidance (2009), example 17-5, p. 17-26: chloride over days.
func TestLeastSquaresPublished(t *testing.T) {
	days := []float64{76, 133, 233, 407, 513, 594, 688, 779, 846, 940, 1043, 1150, 1260, 1330, 1385, 1499, 1577, 1682, 1759}
	ppm := []float64{11.5, 12.6, 13.8, 12.3, 12.8, 13.2, 14.1, 13.3, 13.1, 13.2, 15.3, 15.0, 15.2, 15.8, 16.1, 15.1, 16.4, 17.7, 17.7}
	f := LeastSquares(days, ppm, nil)
	near(t, "slope", f.Slope, 0.003095753, 5e-10)
	near(t, "its deviation", f.SlopeError, 0.0003345330, 5e-11)
	near(t, "t", f.Slope/f.SlopeError, 9.253952, 5e-7)
	// The example's intercept is for days since 1970, which are 11,688 more.
	near(t, "intercept", f.At(-11688), -24.667125117, 5e-6)
	weights := make([]float64, len(days))
	for i := range weights {
		weights[i] = 4
	}
	near(t, "weighted slope", LeastSquares(days, ppm, weights).Slope, f.Slope, 1e-15)
	if f := LeastSquares([]float64{2, 2, 2}, []float64{1, 2, 3}, nil); !math.IsInf(f.SlopeError, 1) || f.Intercept != 2 {
		t.Errorf("points at one x give %+v", f)
	}
}

// Outliers in a tenth of the points change the robust slope by less than its standard deviation,
// and the plain slope by far more.
func TestRobust(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for range 50 {
		var x, y []float64
		for i := range 48 {
			x = append(x, 4*rng.Float64())
			y = append(y, 0.01+0.1*x[i]+0.001*rng.NormFloat64())
			if rng.IntN(10) == 0 {
				y[i] += 0.1 * x[i]
			}
		}
		f := Robust(x, y, slices.Repeat([]float64{0.0005}, len(x)))
		if off := math.Abs(f.Slope - 0.1); off > 5*f.SlopeError || off > 0.001 {
			t.Fatalf("slope %g ± %g", f.Slope, f.SlopeError)
		}
	}
}

// Independent values do not inflate the variance; an autoregression with ρ = 0.6 inflates it by
// about (1+ρ)/(1−ρ) = 4.
func TestInflation(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	var white, red float64
	const n = 60
	for range n {
		w, r := make([]float64, 300), make([]float64, 300)
		for i := range w {
			w[i] = rng.NormFloat64()
			r[i] = w[i]
			if i > 0 {
				r[i] += 0.6 * r[i-1]
			}
		}
		white += Inflation(w) / n
		red += Inflation(r) / n
	}
	near(t, "independent", white, 1.05, 0.07)
	near(t, "autoregressive", red, 4, 1)
	if Inflation(make([]float64, 20)) != 1 || Inflation([]float64{1, 2}) != 1 {
		t.Error("values alike, or too few, widen the variance")
	}
}

func TestMiddles(t *testing.T) {
	near(t, "median", Median([]float64{9, 1, 2}), 2, 0)
	near(t, "median", Median([]float64{9, 1, 2, 4}), 3, 0)
	near(t, "mean of the middle half", Midmean([]float64{100, 1, 2, 3, 4, 5, 6, -50}), 3.5, 1e-12)
	near(t, "spread", Spread([]float64{1, 2, 3, 4, 1000}), 1.4826, 1e-12)
	if !math.IsNaN(Median(nil)) || !math.IsNaN(Midmean(nil)) {
		t.Error("the middle of nothing is a number")
	}
}

package likelihood

import (
	"math"
	"math/rand/v2"
	"testing"
)

// vague is a prior with no information on the constant part, and without a relative part.
var vague = Prior{Scatter: Scatter{1, 1e-9}, SpreadConstant: 20, SpreadBelow: 20, SpreadRelative: 1e-3, Max: Scatter{1e3, 1}}

// Of readings of one quantity about their mean, restricted likelihood finds the
// experimental variance, Σr²/(n − 1) (JCGM 100:2008, 4.2.2), whose logarithm has the variance
// 2/(n − 1) (F.1 there: that of the variance itself is 2σ⁴/(n − 1)).
func TestMeanOfReadings(t *testing.T) {
	values := []float64{3.1, 2.7, 3.6, 2.9, 3.3, 3.0}
	mean, squares := 0.0, 0.0
	for _, v := range values {
		mean += v / float64(len(values))
	}
	n := float64(len(values))
	var list []Residual
	for _, v := range values {
		squares += (v - mean) * (v - mean)
		list = append(list, Residual{Value: v - mean, Magnitude: v, Freedom: 1 - 1/n})
	}
	l := Learn(list, vague, 0)
	if want := math.Sqrt(squares / (n - 1)); math.Abs(l.Constant-want) > 0.01*want {
		t.Errorf("%g, want %g", l.Constant, want)
	}
	if want := 2 / (n - 1); math.Abs(l.Covariance[0][0]-want) > 0.02*want {
		t.Errorf("variance of the logarithm %g, want %g", l.Covariance[0][0], want)
	}
}

// draw invents readings about zero with a constant scatter and one that grows with the value.
func draw(rng *rand.Rand, n int, s Scatter, fixed float64) (list []Residual) {
	for i := range n {
		size := 0.0
		if i%2 == 0 {
			size = 5
		}
		sd := math.Sqrt(s.Variance(fixed, size))
		list = append(list, Residual{Value: sd * rng.NormFloat64(), Magnitude: size, KnownVariance: fixed, Freedom: 1})
	}
	return list
}

// usual is the prior for a display with a resolution of 1 mV.
var usual = Prior{Scatter: Scatter{0.0004, 3e-5}, SpreadConstant: 0.7, SpreadBelow: 0.4, SpreadRelative: 1.4, Max: Scatter{0.01, 0.01}}

// Many readings determine both parts; few readings change the prior little.
func TestBothParts(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 7))
	true_ := Scatter{0.0012, 0.0005}
	l := Learn(draw(rng, 4000, true_, 1e-6/12), usual, 0)
	if math.Abs(l.Constant/true_.Constant-1) > 0.05 || math.Abs(l.Relative/true_.Relative-1) > 0.05 {
		t.Errorf("%+v, want %+v", l.Scatter, true_)
	}
	l = Learn(draw(rng, 1, true_, 0)[:0], usual, 0)
	if math.Abs(l.Constant/usual.Constant-1) > 1e-6 || math.Abs(l.Covariance[0][0]-4*0.7*0.7) > 1e-6 {
		t.Errorf("nothing read: %+v", l)
	}
}

// One wrong reading among twenty has little weight with a Student distribution, and full weight
// without.
func TestOneWrongReading(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 7))
	list := draw(rng, 20, Scatter{0.0005, 1e-6}, 0)
	clean := Learn(list, usual, 5).Constant
	list[3].Value = 0.2
	if got := Learn(list, usual, 5).Constant; got > 1.6*clean {
		t.Errorf("%g with it, %g without", got, clean)
	}
	if got := Learn(list, usual, 0); got.Constant != usual.Max.Constant && got.Constant < 5*clean {
		t.Errorf("without a tail it counts for %g", got.Constant)
	}
	if got := Learn([]Residual{{Value: 3, Magnitude: 5, Freedom: 1}, {Value: -4, Freedom: 1}}, usual, 0); got.Constant > usual.Max.Constant*1.0001 || got.Relative > usual.Max.Relative*1.0001 {
		t.Errorf("more than most: %+v", got.Scatter)
	}
}

// The estimate has the least cost: neighbouring scatters cost more.
func TestLeastCost(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 7))
	list := draw(rng, 30, Scatter{0.0008, 0.0003}, 1e-6/12)
	best := Learn(list, usual, 0)
	for _, by := range []float64{0.9, 1.1} {
		near := usual
		near.Scatter, near.SpreadConstant, near.SpreadBelow, near.SpreadRelative = Scatter{best.Constant * by, best.Relative}, 1e-4, 1e-4, 1e-4
		held := Learn(list, near, 0)
		cost := held.Cost
		for _, r := range list { // costs are beside those of the prior's medians
			cost += r.Freedom * math.Log(near.Variance(r.KnownVariance, r.Magnitude)/usual.Variance(r.KnownVariance, r.Magnitude))
		}
		a := 2 * math.Log(held.Constant/usual.Constant)
		cost += a * a / (4 * 0.7 * 0.7)
		b := 2 * math.Log(held.Relative/usual.Relative)
		cost += b * b / (4 * 1.4 * 1.4)
		if cost < best.Cost {
			t.Errorf("%g times the constant part costs %g, the best %g", by, cost, best.Cost)
		}
	}
}

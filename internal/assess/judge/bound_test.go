package judge

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/calibrationtest"
)

// knob is one parameter of a plant with the standard deviation of its prior; 0 = no prior.
type knob struct {
	turn  func(by float64)
	step  float64
	known float64
}

// bound returns the Cramér–Rao bound, as standard deviations in ohms, of the loops of all joints.
// It uses the plant's derivatives (central differences at the truth), the noise of the simulated
// meter, and as prior the spreads from which the plant was drawn. A joint has two unknowns; a
// feed and a reel have one, their rails' shares being known, so that the bound is below that of
// an estimator without this knowledge.
func bound(t *testing.T, p *calibrationtest.Plant, visits []survey.Visit) []float64 {
	t.Helper()
	r := p.Run
	var places []run.Place
	for _, v := range visits {
		if v.Quantity == run.Voltage {
			for _, name := range []string{v.From, v.To} {
				at, err := r.Point(name)
				if err != nil {
					t.Fatal(err)
				}
				places = append(places, at.Place)
			}
		}
	}
	if err := p.Open(places...); err != nil {
		t.Fatal(err)
	}
	values := func() (list []float64) {
		for k := range r.Steps {
			if err := p.Set(k); err != nil {
				t.Fatal(err)
			}
			for _, v := range visits {
				list = append(list, p.True(v))
			}
		}
		return list
	}
	even := func(half float64) float64 { return half / math.Sqrt(3) }
	var knobs []knob
	pair := func(plus, minus *float64) {
		a, b := *plus, *minus
		whole := a + b
		knobs = append(knobs, knob{func(by float64) { *plus, *minus = a*(1+by/whole), b*(1+by/whole) }, 1e-4, 0})
	}
	rail := func(x *float64) {
		was := *x
		if math.IsInf(was, 1) {
			return
		}
		knobs = append(knobs, knob{func(by float64) { *x = was + by }, 1e-4, 0})
	}
	var firsts []int
	for i := range p.Joints {
		firsts = append(firsts, len(knobs))
		rail(&p.Joints[i].Plus)
		rail(&p.Joints[i].Minus)
	}
	for i := range p.Feeds {
		pair(&p.Feeds[i].Plus, &p.Feeds[i].Minus)
	}
	for i := range p.Reels {
		pair(&p.Reels[i].Plus, &p.Reels[i].Minus)
	}
	one := func(x *float64, step, known float64) {
		was := *x
		knobs = append(knobs, knob{func(by float64) { *x = was + by }, step, known})
	}
	for i := range p.Supplies {
		one(&p.Supplies[i].Volts, 1e-3, even(calibrationtest.MixedSpread.Volts*r.Supplies[i].Volts))
		one(&p.Supplies[i].Ohms, 1e-4, even(calibrationtest.MixedSpread.Output*r.Supplies[i].Ohms))
	}
	for k := range p.Scales {
		one(&p.Scales[k], 1e-3, even(calibrationtest.MixedSpread.Scale))
	}
	one(&p.Idle, 1e-3, even(calibrationtest.MixedSpread.Idle))
	one(&p.Shift, 1e-3, even(calibrationtest.MixedSpread.Shift))
	one(&p.Celsius, 0.1, even(calibrationtest.MixedSpread.Temperature))
	true0 := values()
	columns := make([][]float64, len(knobs))
	for j, k := range knobs {
		k.turn(k.step)
		up := values()
		k.turn(-k.step)
		down := values()
		k.turn(0)
		for i := range up {
			columns[j] = append(columns[j], (up[i]-down[i])/(2*k.step))
		}
	}
	// The meter's gain and offset by range, and its noise.
	ranges := r.Meters[0].Ranges
	noise := make([]float64, len(true0))
	gains, offsets := make([][]float64, len(ranges)), make([][]float64, len(ranges))
	for a := range ranges {
		gains[a], offsets[a] = make([]float64, len(true0)), make([]float64, len(true0))
	}
	for i, v := range true0 {
		a := r.Meters[0].Range(visits[i%len(visits)].Quantity, v)
		gains[a][i], offsets[a][i] = v, 1
		noise[i] = ranges[a].Resolution * math.Sqrt(1.0/12+0.09)
	}
	prior := &leastsquares.Prior{}
	for _, k := range knobs {
		prior.Deviation = append(prior.Deviation, k.known)
	}
	for a := range ranges {
		columns = append(columns, gains[a], offsets[a])
		prior.Deviation = append(prior.Deviation, even(ranges[a].Fraction), even(ranges[a].Counts*ranges[a].Resolution))
	}
	for j, d := range prior.Deviation {
		if d == 0 {
			prior.Deviation[j] = math.Inf(1)
		}
	}
	prior.Mean = make([]float64, len(columns))
	fit, err := leastsquares.Solve(linear{columns, noise}, prior.Mean, prior, leastsquares.Options{})
	if err != nil || fit.Singular {
		return nil
	}
	var deviations []float64
	for i := range p.Joints {
		f := firsts[i]
		v := fit.Covariance.At(f, f)
		if !math.IsInf(p.Joints[i].Plus, 1) {
			v += fit.Covariance.At(f+1, f+1) + 2*fit.Covariance.At(f, f+1)
		}
		deviations = append(deviations, math.Sqrt(v))
	}
	return deviations
}

// linear is a model whose covariance at 0 is the bound.
type linear struct {
	columns [][]float64
	noise   []float64
}

func (l linear) Size() (residuals, parameters int) { return len(l.noise), len(l.columns) }

func (l linear) Evaluate(x, residuals []float64, jacobian *leastsquares.Matrix) error {
	for i, u := range l.noise {
		residuals[i] = 0
		for j, c := range l.columns {
			residuals[i] += c[i] * x[j] / u
			if jacobian != nil {
				jacobian.Row(i)[j] = c[i] / u
			}
		}
	}
	return nil
}

// chance is the probability that a standard Gaussian lies below z.
func chance(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// On well-read runs, where the bound is at most a quarter of the limit, the median interval of a
// joint is at most one and a half times as wide as the best of any unbiased estimator. And as
// many joints fail, and as many pass, as with such an estimator at the same risks.
func TestIntervalsAndVerdictsAgainstTheCramerRaoBound(t *testing.T) {
	for _, mix := range mixes {
		t.Run(mix.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(8, 8))
			var ratios []float64
			var bad, found, healthy, passed int
			var couldFind, couldPass float64
			for i := range max(*simulations, 4) {
				p, visits := mix.make(t, i, rng)
				list, err := p.Walk(visits, rng, time.Unix(0, 0))
				if err != nil {
					t.Fatal(err)
				}
				j, err := judgeReadings(p.Run, list)
				if err != nil {
					t.Fatal(err)
				}
				best := bound(t, p, visits)
				if best == nil {
					continue
				}
				for k, joint := range p.Run.Joints {
					if joint.PlusCut {
						continue
					}
					e := loopOf(t, j.out, run.KindJoint, joint.Name)
					truth := trueLoop(p.Run, p, e)
					if e.Ohms > 0 && best[k] < joint.Limit/4 && !math.IsInf(e.High, 1) {
						ratios = append(ratios, (e.High-e.Ohms)/1.96/best[k])
					}
					z := (truth - joint.Limit) / best[k]
					switch {
					case truth > 1.5*joint.Limit:
						bad++
						couldFind += chance(z - deviations(1-j.rule.Fail))
						if e.Verdict == assessment.Fail {
							found++
						}
					case truth < 0.8*joint.Limit:
						healthy++
						couldPass += chance(-z - deviations(j.rule.Pass))
						if e.Verdict == assessment.Pass {
							passed++
						}
					}
				}
			}
			slices.Sort(ratios)
			median := ratios[len(ratios)/2]
			t.Logf("%d joints, half-width of the interval over that of the bound: quartiles %.2f %.2f %.2f", len(ratios), ratios[len(ratios)/4], median, ratios[3*len(ratios)/4])
			t.Logf("%d of %d bad joints fail, %.1f could; %d of %d healthy ones pass, %.1f could", found, bad, couldFind, passed, healthy, couldPass)
			if median > 1.5 || median < 0.9 {
				t.Errorf("median %.2f", median)
			}
			// The bound uses the plant's own distributions and a linear model.
			if float64(found) < 0.95*couldFind-2 || float64(passed) < 0.95*couldPass-2 {
				t.Error("too few are settled that the readings could tell")
			}
		})
	}
}

// deviations is how far the Gaussian reaches that leaves a probability beyond.
func deviations(beyond float64) float64 { return math.Sqrt2 * math.Erfinv(1-2*beyond) }

package ladder

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// balance computes the sum of the currents that leave each node from the potentials of a solver
// alone, and returns the largest of these sums, A.
func balance(s *Solver, r *run.Run, par *Parameters, loads []pixel.Load) float64 {
	sum := map[run.Point]float64{}
	potential := map[run.Point]float64{}
	for i, reel := range r.Reels {
		plus, minus, amps := make([]float64, reel.Pixels), make([]float64, reel.Pixels), make([]float64, reel.Pixels)
		s.Reel(i, plus, minus, amps)
		for k := range plus {
			at := run.Place{Kind: run.AtReel, Index: i, Pixel: k + 1}
			p, n := run.Point{Place: at, Rail: run.Plus}, run.Point{Place: at, Rail: run.Minus}
			potential[p], potential[n] = plus[k], minus[k]
			drawn, _ := loads[i].Current(plus[k] - minus[k])
			sum[p] += drawn
			sum[n] -= drawn
			if k > 0 {
				before := at
				before.Pixel--
				for rail, ohms := range []float64{par.Reels[i].Plus, par.Reels[i].Minus} {
					a, b := run.Point{Place: before, Rail: run.Rail(rail)}, run.Point{Place: at, Rail: run.Rail(rail)}
					flow := (potential[a] - potential[b]) / math.Max(ohms, floorOhms)
					sum[a] += flow
					sum[b] -= flow
				}
			}
		}
	}
	wire := func(from, to run.Place, rails Rails) {
		for rail, ohms := range []float64{rails.Plus, rails.Minus} {
			a, b := run.Point{Place: from, Rail: run.Rail(rail)}, run.Point{Place: to, Rail: run.Rail(rail)}
			flow := (s.Potential(a) - s.Potential(b)) / math.Max(ohms, floorOhms)
			sum[a] += flow
			sum[b] -= flow
		}
	}
	for i, f := range r.Feeds {
		wire(f.From, f.To, par.Feeds[i])
	}
	for i, j := range r.Joints {
		wire(run.Place{Kind: run.AtReel, Index: j.From, Pixel: r.Reels[j.From].Pixels},
			run.Place{Kind: run.AtReel, Index: j.To, Pixel: 1}, par.Joints[i])
	}
	for i := range r.Supplies {
		at := run.Place{Kind: run.AtSupply, Index: i}
		amps := s.SupplyAmps(i)
		sum[run.Point{Place: at, Rail: run.Plus}] -= amps
		sum[run.Point{Place: at, Rail: run.Minus}] += amps
		volts := s.Potential(run.Point{Place: at, Rail: run.Plus}) - s.Potential(run.Point{Place: at, Rail: run.Minus})
		if miss := math.Abs(volts + amps*par.Supplies[i].Ohms - par.Supplies[i].Volts); amps != 0 && miss > 1e-9 {
			return math.Inf(1)
		}
	}
	worst := 0.0
	for _, x := range sum {
		worst = math.Max(worst, math.Abs(x))
	}
	return worst
}

// Kirchhoff's current law holds at every node of random runs, from any state that the solver begins
// from.
func TestCurrentsBalanceAtEveryNode(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 5))
	iterations, most := 0, 0
	runs := 200
	if *networks > 0 {
		runs = 600
	}
	for i := range runs {
		r := randomRun(rng, 400)
		n, err := New(r)
		if err != nil {
			t.Fatal(err)
		}
		s := n.NewSolver()
		par := Stated(r)
		loads := Loads(r, r.Steps[0], pixel.Adjust{Scale: math.Exp(2.5 * rng.NormFloat64()), Idle: 1, Shift: 0.1 * rng.NormFloat64()})
		if i%2 == 1 { // begin from voltages that are far off, as after a change of parameters
			for k := range s.volts {
				s.volts[k] = r.Supplies[0].Volts * (3*rng.Float64() - 1)
			}
			s.warm = true
		}
		if err := s.Solve(&par, loads); err != nil {
			t.Errorf("run %d (%v, %d reels): %v", i, r.Reels[0].Strip.Driver, len(r.Reels), err)
			continue
		}
		iterations += s.Iterations()
		most = max(most, s.Iterations())
		if worst := balance(s, r, &par, loads); !(worst < 1e-6) {
			t.Errorf("run %d (%v): currents miss by %g A", i, r.Reels[0].Strip.Driver, worst)
		}
	}
	t.Logf("Newton iterations: mean %.1f, most %d", float64(iterations)/float64(runs), most)
}

// A long strip at full white fed from one end gets almost no voltage at its far end. The load is
// up to a hundred times what the supply can deliver.
func TestStarvedAndOverloaded(t *testing.T) {
	longest := 5000
	if *networks > 0 {
		longest = 30_000
	}
	for _, driver := range []run.Driver{run.Linear, run.Resistor, run.Regulated} {
		for _, pixels := range []int{900, longest} {
			for _, scale := range []float64{1, 100} {
				r := endFed(pixels, 0.036, false)
				r.Reels[0].Strip.Driver = driver
				r.Reels[0].Strip.Channels[0].Ohms = 50
				r.Supplies[0].Ohms = 0.05
				n, _ := New(r)
				s := n.NewSolver()
				par := Stated(r)
				loads := Loads(r, r.Steps[0], pixel.Adjust{Scale: scale, Idle: 1})
				if err := s.Solve(&par, loads); err != nil {
					t.Errorf("%v, %d pixels, × %g: %v", driver, pixels, scale, err)
					continue
				}
				t.Logf("%v, %d pixels, × %g: %d iterations", driver, pixels, scale, s.Iterations())
				if worst := balance(s, r, &par, loads); !(worst < 1e-6) {
					t.Errorf("%v, %d pixels, × %g: currents miss by %g A", driver, pixels, scale, worst)
				}
			}
		}
	}
}

// One regulated pixel of power P behind R ohms has two operating points,
// v = (V ± √(V² − 4PR))/2; the solver finds the upper one.
func TestRegulatedPixelKeepsTheUpperBranch(t *testing.T) {
	r := endFed(1, 0.4, false)
	r.Reels[0].Strip.Driver = run.Regulated
	r.Reels[0].Strip.Channels[0].Knee = 2.6
	r.Feeds[0].Ohms = 3
	s, _, _ := solve(t, r)
	want := (5 + math.Sqrt(25-4*2*3)) / 2
	if got := pairVolts(s, 0, 1)[0]; math.Abs(got-want) > 1e-9 {
		t.Errorf("%.12g V, want %.12g", got, want)
	}
}

// A run described from its other end has the same voltages in reverse order.
func TestMirroredRunMirrorsItsVoltages(t *testing.T) {
	a, b := endFed(300, 0.02, false), endFed(300, 0.02, false)
	b.Feeds[0].To.Pixel = 300
	sa, _, _ := solve(t, a)
	sb, _, _ := solve(t, b)
	va, vb := pairVolts(sa, 0, 300), pairVolts(sb, 0, 300)
	for k := range va {
		if math.Abs(va[k]-vb[299-k]) > 1e-9 {
			t.Fatalf("pixel %d: %g V, mirrored %g V", k+1, va[k], vb[299-k])
		}
	}
}

// A failed solve does not change the result of the next one.
func TestFailedSolveDoesNotSpoilTheNext(t *testing.T) {
	r := endFed(60, 0.01, false)
	s, par, loads := solve(t, r)
	want := pairVolts(s, 0, 60)
	for name, spoil := range map[string]func(){
		"parted":             func() { par.Feeds[0].Plus = math.Inf(1) },    // fails before the first step
		"volts not a number": func() { par.Supplies[0].Volts = math.NaN() }, // fails after the state has moved
	} {
		feed, supply := par.Feeds[0], par.Supplies[0]
		spoil()
		if err := s.Solve(par, loads); err == nil {
			t.Fatalf("%s: it was solved", name)
		}
		par.Feeds[0], par.Supplies[0] = feed, supply
		if err := s.Solve(par, loads); err != nil {
			t.Fatalf("after %s: %v", name, err)
		}
		for k, v := range pairVolts(s, 0, 60) {
			if !(math.Abs(v-want[k]) < 1e-9) {
				t.Fatalf("after %s: pixel %d has %g V, had %g V", name, k+1, v, want[k])
			}
		}
	}
}

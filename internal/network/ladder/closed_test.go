package ladder

import (
	"fmt"
	"math"
	"testing"

	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// strip is an invented 5 V strip whose pixels draw exactly amps each at full level.
func strip(amps float64) run.Strip {
	return run.Strip{Volts: 5, PixelsPerMetre: 60, Driver: run.Linear, LoopOhms: 0.08,
		Channels: []run.Channel{{Name: "red", Amps: amps, Forward: 1.6, Knee: 2.5}}}
}

// endFed is one reel, fed at its start and where both at its end too.
func endFed(pixels int, amps float64, both bool) *run.Run {
	r := &run.Run{Name: "invented", Ambient: 20,
		Supplies: []run.Supply{{Name: "A", Volts: 5}},
		Reels:    []run.Reel{{Name: "west", Pixels: pixels, Follows: -1, Strip: strip(amps)}},
		Feeds:    []run.Feed{{Name: "near", From: run.Place{Kind: run.AtSupply}, To: run.Place{Kind: run.AtReel, Pixel: 1}, Ohms: 0.01, TempCo: CopperTempCo}},
		Steps:    []run.Step{{Name: "full", Levels: map[string]float64{"red": 1}}},
	}
	if both {
		far := r.Feeds[0]
		far.Name, far.To.Pixel = "far", pixels
		r.Feeds = append(r.Feeds, far)
	}
	return r
}

func solve(t testing.TB, r *run.Run, extra ...run.Place) (*Solver, *Parameters, []pixel.Load) {
	t.Helper()
	n, err := New(r, extra...)
	if err != nil {
		t.Fatal(err)
	}
	s := n.NewSolver()
	par := Stated(r)
	loads := Loads(r, r.Steps[0], pixel.AsStated)
	if err := s.Solve(&par, loads); err != nil {
		t.Fatal(err)
	}
	return s, &par, loads
}

func pairVolts(s *Solver, reel, pixels int) []float64 {
	plus, minus := make([]float64, pixels), make([]float64, pixels)
	s.Reel(reel, plus, minus, nil)
	for i := range plus {
		plus[i] -= minus[i]
	}
	return plus
}

// N equal lumped loads between N−1 segments of one reel, fed at the first: the
// drop to the last is i·r·N(N−1)/2; with the feed as one more equal segment it is
// the I·R(N+1)/2N of the textbooks on d.c. distribution (derivable; Mehta,
// Principles of Power System, ch. 13, from memory).
func TestEndFedDropIsTheClosedForm(t *testing.T) {
	for _, n := range []int{1, 2, 3, 7, 60, 900} {
		amps := 1.5 / float64(n)
		r := endFed(n, amps, false)
		segment := 0.08 / 60
		r.Feeds[0].Ohms = segment // as long as a segment
		s, _, _ := solve(t, r)
		v := pairVolts(s, 0, n)
		total, ohms := amps*float64(n), segment*float64(n)
		want := total * ohms * float64(n+1) / (2 * float64(n))
		if got := 5 - v[n-1]; math.Abs(got-want) > 1e-9*want {
			t.Errorf("%d pixels: drop %.15g V, closed form %.15g", n, got, want)
		}
	}
}

// The continuous limit I·R/2 of one end and I·R/8 of both ends: with N lumps and
// N−1 segments the exact sum for odd N is I·R(N−1)/8N, R being the copper between
// first and last pixel (half a pixel's current, then 1½, 2½ … flow outwards).
func TestBothEndsFedDropIsTheClosedForm(t *testing.T) {
	for _, n := range []int{3, 61, 901} {
		amps := 1.5 / float64(n)
		r := endFed(n, amps, true)
		s, _, _ := solve(t, r)
		v := pairVolts(s, 0, n)
		current, ohms := amps*float64(n), 0.08/60*float64(n-1)
		want := current * ohms * float64(n-1) / (8 * float64(n))
		if got := v[0] - v[n/2]; math.Abs(got-want) > 1e-9*want {
			t.Errorf("%d pixels: drop to the middle %.15g V, closed form %.15g", n, got, want)
		}
	}
}

func TestContinuousLimit(t *testing.T) {
	const n = 200_001
	for _, c := range []struct {
		both bool
		part float64
	}{{false, 2}, {true, 8}} {
		r := endFed(n, 1.0/n, c.both)
		r.Reels[0].Strip.PixelsPerMetre = n - 1
		s, _, _ := solve(t, r)
		v := pairVolts(s, 0, n)
		at := n - 1
		if c.both {
			at = n / 2
		}
		want := 1 * 0.08 / c.part
		if got := v[0] - v[at]; math.Abs(got-want) > 2e-5*want {
			t.Errorf("both %v: %.9g V, I·R/%g = %.9g", c.both, got, c.part, want)
		}
	}
}

// A ladder of equal resistive cells, far end open (derivable):
// Vend/V0 = cosh(θ/2)/cosh((N+½)θ), sinh(θ/2) = √(r·g)/2.
func TestResistiveLadderIsTheClosedForm(t *testing.T) {
	for _, n := range []int{10, 100, 1000} {
		r := endFed(n, 0, false)
		st := &r.Reels[0].Strip
		st.Driver, st.LoopOhms, st.PixelsPerMetre = run.Resistor, 0.5, float64(n)
		st.Channels = []run.Channel{{Name: "red", Ohms: 1 / (0.25 / float64(n))}}
		r.Feeds[0].Ohms = 0.5 / float64(n)
		s, _, _ := solve(t, r)
		v := pairVolts(s, 0, n)
		theta := 2 * math.Asinh(math.Sqrt(0.5*0.25)/float64(n)/2)
		want := 5 * math.Cosh(theta/2) / math.Cosh((float64(n)+0.5)*theta)
		if math.Abs(v[n-1]-want) > 1e-9*want {
			t.Errorf("%d cells: %.15g, want %.15g", n, v[n-1], want)
		}
	}
}

func ExampleSolver() {
	r := endFed(900, 0.036, false) // invented
	n, _ := New(r)
	s := n.NewSolver()
	par := Stated(r)
	err := s.Solve(&par, Loads(r, r.Steps[0], pixel.AsStated))
	fmt.Printf("%v, %.2f A, in %v iterations: %v\n", err, s.SupplyAmps(0), s.Iterations() < 60, s.Potential(run.Point{Place: run.Place{Kind: run.AtReel, Pixel: 900}}) > 1)
	// Output: <nil>, 12.37 A, in true iterations: true
}

func BenchmarkSolve(b *testing.B) {
	for _, n := range []int{100, 900, 10_000, 100_000, 1_000_000} {
		for _, amps := range []float64{1.5 / float64(n)} {
			b.Run(fmt.Sprintf("pixels=%d", n), func(b *testing.B) {
				r := endFed(n, amps, false)
				r.Reels[0].Strip.PixelsPerMetre = float64(n) / 15
				net, _ := New(r)
				s := net.NewSolver()
				par := Stated(r)
				loads := Loads(r, r.Steps[0], pixel.AsStated)
				b.ReportAllocs()
				b.ResetTimer()
				for range b.N {
					s.Restart()
					if err := s.Solve(&par, loads); err != nil {
						b.Fatal(err)
					}
				}
				b.ReportMetric(float64(s.Iterations()), "iterations")
			})
		}
	}
}

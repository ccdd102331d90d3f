package ladder

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// parameter is one parameter of a network and its derivative in a gradient.
type parameter struct {
	name  string
	value *float64
	slope *float64
	reel  bool // of the load, not the network
}

func parameters(p *Parameters, by *pixel.Adjust, g *Gradient, sums *pixel.Adjust) []parameter {
	var list []parameter
	rails := func(name string, of, slopes []Rails) {
		for i := range of {
			list = append(list, parameter{fmt.Sprint(name, i, "+"), &of[i].Plus, &slopes[i].Plus, false},
				parameter{fmt.Sprint(name, i, "-"), &of[i].Minus, &slopes[i].Minus, false})
		}
	}
	rails("reel", p.Reels, g.Reels)
	rails("joint", p.Joints, g.Joints)
	rails("feed", p.Feeds, g.Feeds)
	for i := range p.Supplies {
		list = append(list, parameter{fmt.Sprint("volts", i), &p.Supplies[i].Volts, &g.Supplies[i].Volts, false},
			parameter{fmt.Sprint("ohms", i), &p.Supplies[i].Ohms, &g.Supplies[i].Ohms, false})
	}
	for i := range p.Drains {
		list = append(list, parameter{fmt.Sprint("drain", i), &p.Drains[i].Amps, &g.Drains[i], false})
	}
	return append(list, parameter{"scale", &by.Scale, &sums.Scale, true}, parameter{"idle", &by.Idle, &sums.Idle, true},
		parameter{"shift", &by.Shift, &sums.Shift, true}, parameter{"stretch", &by.Stretch, &sums.Stretch, true})
}

// probedRun returns a random run, one pixel of it, and the network with that as a place.
func probedRun(t *testing.T, rng *rand.Rand) (*run.Run, run.Place, *Network) {
	t.Helper()
	r := randomRun(rng, 60)
	probe := run.Place{Kind: run.AtReel, Index: rng.IntN(len(r.Reels))}
	probe.Pixel = 1 + rng.IntN(r.Reels[probe.Index].Pixels)
	n, err := New(r, probe)
	if err != nil {
		t.Fatal(err)
	}
	return r, probe, n
}

// Every derivative against central differences, at random points of random runs.
func TestGradientsAgreeWithCentralDifferences(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 11))
	checked := 0
	for i := range 120 {
		r, probe, n := probedRun(t, rng)
		s := n.NewSolver()
		par := Stated(r)
		for k := range par.Supplies {
			par.Supplies[k].Ohms += 0.01 // the derivative to an ohmless source is one-sided
		}
		feeding := run.Point{Place: r.Feeds[0].To, Rail: run.Minus}
		par.Drains = []Drain{{From: run.Point{Place: probe}, To: run.Point{Place: probe, Rail: run.Minus}, Amps: 0.2 * rng.NormFloat64()},
			{From: run.Point{Place: probe}, To: feeding, Amps: 0.2 * rng.NormFloat64()}}
		for k := range par.Reels { // rails that differ
			par.Reels[k].Plus *= 0.7 + rng.Float64()
		}
		by := pixel.Adjust{Scale: math.Exp(rng.NormFloat64()), Idle: 1, Shift: 0.05, Stretch: 0.3 * rng.NormFloat64()}
		solve := func() {
			s.Restart()
			if err := s.Solve(&par, Loads(r, r.Steps[0], by)); err != nil {
				t.Fatalf("run %d: %v", i, err)
			}
		}
		from := run.Point{Place: probe, Rail: run.Rail(rng.IntN(2))}
		to := run.Point{Place: r.Feeds[rng.IntN(len(r.Feeds))].To, Rail: run.Rail(rng.IntN(2))}
		feed, rail := rng.IntN(len(r.Feeds)), run.Rail(rng.IntN(2))
		outputs := []struct {
			name  string
			value func() float64
			slope func(g *Gradient) error
		}{
			{"volts", func() float64 { return s.Potential(from) - s.Potential(to) },
				func(g *Gradient) error { return s.VoltageGradient(from, to, g) }},
			{"amps", func() float64 { return s.FeedAmps(feed, rail) },
				func(g *Gradient) error { return s.FeedAmpsGradient(feed, rail, g) }},
		}
		for _, out := range outputs {
			g := n.NewGradient()
			solve()
			if err := out.slope(g); err != nil {
				t.Fatalf("run %d: %v", i, err)
			}
			sums := pixel.Adjust{}
			for k := range g.Scale {
				sums.Scale += g.Scale[k]
				sums.Idle += g.Idle[k]
				sums.Shift += g.Shift[k]
				sums.Stretch += g.Stretch[k]
			}
			list := parameters(&par, &by, g, &sums)
			for range 8 {
				k := list[rng.IntN(len(list))]
				if math.IsInf(*k.value, 1) {
					continue
				}
				got, was := *k.slope, *k.value
				difference := func(h float64) float64 {
					*k.value = was + h
					solve()
					up := out.value()
					*k.value = was - h
					solve()
					down := out.value()
					*k.value = was
					return (up - down) / (2 * h)
				}
				h := 2e-3 * math.Max(math.Abs(was), 1e-3)
				coarse, fine := difference(h), difference(h/2)
				// Where halving h changes the difference, a pixel crosses a corner of its load
				// law within h, and the change bounds the error of the difference. The last term
				// is the error from the solver's tolerance.
				allowed := 1e-5*math.Abs(fine) + 1e-7 + 4*math.Abs(coarse-fine) + 1e-10/h
				if math.Abs(got-fine) > allowed {
					t.Errorf("run %d (%v): d %s / d %s = %.9g, central difference %.9g",
						i, r.Reels[0].Strip.Driver, out.name, k.name, got, fine)
				}
				checked++
			}
		}
	}
	if checked < 1000 {
		t.Errorf("only %d derivatives checked", checked)
	}
}

func BenchmarkVoltageGradient(b *testing.B) {
	r := endFed(900, 1.5/900, true)
	s, _, _ := solve(b, r)
	g := s.net.NewGradient()
	end := run.Place{Kind: run.AtReel, Pixel: 900}
	b.ReportAllocs()
	for range b.N {
		if err := s.VoltageGradient(run.Point{Place: end}, run.Point{Place: end, Rail: run.Minus}, g); err != nil {
			b.Fatal(err)
		}
	}
}

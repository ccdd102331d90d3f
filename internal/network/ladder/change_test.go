package ladder

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// The response to changes of all resistances is the sum of each change times its derivative, which
// TestGradientsAgreeWithCentralDifferences checks, at random points of random runs.
func TestResponseAgreesWithGradients(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 17))
	for i := range 60 {
		r, probe, n := probedRun(t, rng)
		s, par := n.NewSolver(), Stated(r)
		for k := range par.Reels { // rails that differ
			par.Reels[k].Plus *= 0.7 + rng.Float64()
		}
		if err := s.Solve(&par, Loads(r, r.Steps[0], pixel.AsStated)); err != nil {
			t.Fatalf("run %d: %v", i, err)
		}
		c := n.NewChange()
		for k := range c.Supplies {
			c.Supplies[k] = rng.NormFloat64()
		}
		for _, list := range [][]Rails{c.Reels, c.Joints, c.Feeds} {
			for k := range list {
				list[k] = Rails{Plus: rng.NormFloat64(), Minus: rng.NormFloat64()}
			}
		}
		if err := s.Respond(c); err != nil {
			t.Fatalf("run %d: %v", i, err)
		}
		from := run.Point{Place: probe, Rail: run.Rail(rng.IntN(2))}
		to := run.Point{Place: r.Feeds[rng.IntN(len(r.Feeds))].To, Rail: run.Rail(rng.IntN(2))}
		feed, rail := rng.IntN(len(r.Feeds)), run.Rail(rng.IntN(2))
		g := n.NewGradient()
		compare := func(name string, got float64, err error) {
			want, size := 0.0, 0.0
			add := func(slope, change float64) {
				want += slope * change
				size += math.Abs(slope * change)
			}
			for k, x := range g.Supplies {
				add(x.Ohms, c.Supplies[k])
			}
			for at, list := range [][]Rails{g.Reels, g.Joints, g.Feeds} {
				for k, x := range list {
					change := [][]Rails{c.Reels, c.Joints, c.Feeds}[at][k]
					add(x.Plus, change.Plus)
					add(x.Minus, change.Minus)
				}
			}
			if err != nil || math.Abs(got-want) > 1e-7*size+1e-9 {
				t.Errorf("run %d: %s change by %.12g, with the derivatives by %.12g (%v)", i, name, got, want, err)
			}
		}
		compare("volts", s.VoltageChange(from, to), s.VoltageGradient(from, to, g))
		compare("amps", s.FeedAmpsChange(feed, rail, c), s.FeedAmpsGradient(feed, rail, g))
	}
}

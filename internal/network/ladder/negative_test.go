package ladder

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// Along a joint with a resistance some milliohms below zero the potential rises by Ohm's law. The
// current changes smoothly as the resistance passes through zero.
func TestNegativeJoint(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 17))
	for range 20 {
		r := randomRun(rng, 60)
		if len(r.Joints) == 0 || r.Joints[0].PlusCut {
			continue
		}
		end := run.Point{Place: run.Place{Kind: run.AtReel, Index: r.Joints[0].From, Pixel: r.Reels[r.Joints[0].From].Pixels}}
		start := run.Point{Place: run.Place{Kind: run.AtReel, Index: r.Joints[0].To, Pixel: 1}}
		n, err := New(r, end.Place, start.Place)
		if err != nil {
			t.Fatal(err)
		}
		s := n.NewSolver()
		par := Stated(r)
		solve := func(ohms float64) (amps, drop float64) {
			par.Joints[0].Plus = ohms
			if err := s.Solve(&par, Loads(r, r.Steps[0], pixel.AsStated)); err != nil {
				t.Fatal(err)
			}
			return s.JointAmps(0, run.Plus), s.Potential(end) - s.Potential(start)
		}
		above, _ := solve(0.004)
		below, drop := solve(-0.004)
		middle, _ := solve(0)
		if math.Abs(drop+0.004*below) > 1e-9 {
			t.Errorf("−4 mΩ drop %g V at %g A", drop, below)
		}
		if math.Abs(above+below-2*middle) > 1e-3*math.Abs(middle)+1e-6 {
			t.Errorf("currents %g, %g, %g A at 4, 0 and −4 mΩ do not lie in a line", above, middle, below)
		}
	}
}

package plant_test

import (
	"math"
	"reflect"
	"testing"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/plant"
	"ohmkeep/internal/simulate/planttest"
)

// Every kind can be drawn, as its seed says; at each node the currents sum to zero.
func TestCommission(t *testing.T) {
	for i, k := range planttest.Kinds() {
		a, err := planttest.Commission(k, plant.Plain, planttest.BadJoint, planttest.SwappedDigits, uint64(i))
		if err != nil {
			t.Fatal(err)
		}
		b, err := planttest.Commission(k, plant.Plain, planttest.BadJoint, planttest.SwappedDigits, uint64(i))
		if err != nil {
			t.Fatal(err)
		}
		if a == nil || a.File != b.File || !reflect.DeepEqual(a.Readings, b.Readings) || len(a.Wrong) != 1 {
			t.Fatalf("%s: not drawn twice alike", k.Name)
		}
		for n, amps := range a.Plant.Excess() {
			if math.Abs(amps) > 1e-7 {
				t.Errorf("%s, node %d: %g A go nowhere", k.Name, n, amps)
			}
		}
		if least := planttest.LeastVolts(a.Plant); !(least > 0.6*a.Run.Reels[0].Strip.Volts) {
			t.Errorf("%s: the run is read at %g V", k.Name, least)
		}
	}
}

// Nodal analysis of every pixel and the fit's own network, which was made by other means,
// give the same volts for runs of every kind where the pixels' curves do not matter.
func TestAgainstTheOtherNetwork(t *testing.T) {
	for i, k := range planttest.Kinds() {
		c, err := planttest.Commission(k, plant.Plain, planttest.Sound, planttest.NoSlip, uint64(i))
		if err != nil {
			t.Fatal(err)
		}
		if c.Run.Reels[0].Strip.Driver != run.Linear {
			continue
		}
		p := plant.AsStated(t, c.File)
		net, err := ladder.New(p.Run)
		if err != nil {
			t.Fatal(err)
		}
		solver, par := net.NewSolver(), ladder.Stated(p.Run)
		for s, step := range p.Run.Steps {
			if err := p.Set(s); err != nil {
				t.Fatal(err)
			}
			if err := solver.Solve(&par, ladder.Loads(p.Run, step, pixel.AsStated)); err != nil {
				t.Fatal(err)
			}
			for _, at := range plant.Places(p.Run) {
				plus, minus := run.Point{Place: at, Rail: run.Plus}, run.Point{Place: at, Rail: run.Minus}
				if at.Kind == run.AtReel && at.Pixel != 1 && at.Pixel != p.Run.Reels[at.Index].Pixels {
					continue
				}
				want := solver.Potential(plus) - solver.Potential(minus)
				if got := p.Volts(plus, minus); math.Abs(got-want) > 5e-4*p.Run.Reels[0].Strip.Volts {
					t.Errorf("%s, %s, %s: %g V, the other network has %g V", k.Name, step.Name, p.Run.PlaceName(at), got, want)
				}
			}
		}
	}
}

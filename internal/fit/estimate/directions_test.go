package estimate

import (
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
)

// The variance of a joint's loop along the directions is that of its belief, and one standard
// deviation along a direction gives the state on that side.
func TestDirectionsAreTheCovariance(t *testing.T) {
	r := runtest.Load(t, "../../../testdata/commissioning/run.toml")
	text, err := os.ReadFile("../../../testdata/commissioning/readings.csv")
	if err != nil {
		t.Fatal(err)
	}
	// One meter for all readings: that of the run file, since there is no profile here.
	rows := strings.NewReplacer("ina226-lines", r.Meters[0].Name, "scpi-multimeter", r.Meters[0].Name).Replace(string(text))
	set, err := csv.Parse("readings.csv", strings.NewReader(rows), r)
	if err != nil {
		t.Fatal(err)
	}
	e, err := Make(r, set.Readings)
	if err != nil {
		t.Fatal(err)
	}
	for step := range r.Steps {
		d := e.Directions(step)
		sum := 0.0
		for _, pair := range d.OneSigma() {
			half := (pair[0].Parameters.Joints[0].Plus + pair[0].Parameters.Joints[0].Minus -
				pair[1].Parameters.Joints[0].Plus - pair[1].Parameters.Joints[0].Minus) / 2
			sum += half * half
		}
		for _, x := range e.Elements {
			if x.Kind == "joint" && x.Index == 0 && x.Rail == run.Loop {
				// The belief is of r/(r + 1 Ω); its slope at r is 1/(1 + r)².
				ohms := x.Ohms(x.Belief.Mean)
				if want := x.Belief.Deviation * (1 + ohms) * (1 + ohms); math.Abs(math.Sqrt(sum)/want-1) > 0.02 {
					t.Errorf("step %d: the joint differs by %g Ω, its belief by %g Ω", step, math.Sqrt(sum), want)
				}
			}
		}
	}
	d := e.Directions(1)
	rng := rand.New(rand.NewPCG(1, 1))
	deviations := make([]float64, len(d.off))
	if best := d.Along(deviations); best.Parameters.Supplies[0] != e.FittedState(1).Parameters.Supplies[0] {
		t.Error("no deviation is not the best account")
	}
	j := rng.IntN(len(d.off))
	deviations[j] = 1
	if got, want := d.Along(deviations), d.OneSigma()[j][0]; got.Parameters.Supplies[0] != want.Parameters.Supplies[0] || got.Adjust != want.Adjust {
		t.Errorf("%+v, want %+v", got, want)
	}
}

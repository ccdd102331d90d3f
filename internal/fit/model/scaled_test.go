package model

import (
	"math"
	"math/rand/v2"
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
)

// Scaled coordinates turn back into the unknowns, are these at the fit with their first derivatives, and
// derivatives by coordinate are those of central differences.
func TestScaledCoordinates(t *testing.T) {
	r, list := modeltest.Cornice()
	m, err := New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(2, 9))
	random := func(about []float64, by float64) []float64 {
		x := make([]float64, len(about))
		for j := range x {
			x[j] = about[j] + by*math.Min(m.Unknowns[j].Deviation, 1)*rng.NormFloat64()
		}
		return x
	}
	a := m.Assume()
	fit := random(m.Start(a), 0.1)
	s := m.scaledAbout(a, fit, m.Feeds[0][1])
	if s.lit < 0.3 || s.lit > 1 {
		t.Errorf("of the brightest step's current %g is not idle", s.lit)
	}
	near := random(fit, 1e-4)
	for j, y := range s.coordinates(near) {
		if math.Abs(y-near[j]) > 3e-8 {
			t.Errorf("near the fit coordinate %d differs by %g (%+v)", j, y-near[j], m.Unknowns[j])
		}
	}
	x := random(fit, 0.3)
	y := s.coordinates(x)
	for j, back := range s.unknowns(y) {
		if math.Abs(back-x[j]) > 1e-12 {
			t.Errorf("unknown %d comes back as %g, not %g", j, back, x[j])
		}
	}
	by := random(make([]float64, len(x)), 1)
	linear := func(y []float64) (sum float64) {
		for j, x := range s.unknowns(y) {
			sum += by[j] * x
		}
		return sum
	}
	for j, got := range s.gradient(x, y, by) {
		const h = 1e-5
		was := y[j]
		y[j] = was + h
		want := linear(y)
		y[j] = was - h
		want = (want - linear(y)) / (2 * h)
		y[j] = was
		if math.Abs(got-want) > 1e-7*(1+math.Abs(want)) {
			t.Errorf("the derivative by coordinate %d is %g, the difference %g (%+v)", j, got, want, m.Unknowns[j])
		}
	}
}

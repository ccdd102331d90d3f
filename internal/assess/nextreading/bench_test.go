package nextreading_test

import (
	"testing"

	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/simulate/plant"
	"ohmkeep/internal/simulate/planttest"
)

// BenchmarkNext proposes readings for one joint of a run fed at both ends: what the proposals add to
// the time of an assessment.
func BenchmarkNext(b *testing.B) {
	kind := planttest.Kinds()[1]
	c, err := planttest.Commission(kind, plant.Plain, planttest.Sound, planttest.NoSlip, 0)
	if err != nil {
		b.Fatal(err)
	}
	est, err := estimate.Make(c.Run, c.Readings)
	if err != nil {
		b.Fatal(err)
	}
	_, targets, err := judge.BeforeReadings(c.Run)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		nextreading.Next(est, targets[:1], 3)
	}
}

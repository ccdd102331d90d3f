package judge

import (
	"strings"
	"testing"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/result/assessment"
)

// Where the other readings fit badly too, a reading a few standard deviations off resembles some
// place by chance, and that removes no doubt. One ten or more off that resembles a place does.
// Where the others fit well there is no doubt in either case.
func TestObviousMistakesRaiseNoDoubt(t *testing.T) {
	elsewhere := func(assessment.Reading) string { return "it reads like b.end in the same step" }
	nowhere := func(assessment.Reading) string { return "" }
	for _, c := range []struct {
		deviations, p float64
		resembles     func(assessment.Reading) string
		odd           bool
	}{
		{9.9, 0.04, elsewhere, true},
		{-9.9, 0.04, elsewhere, true},
		{10.1, 0.04, elsewhere, false},
		{-10.1, 0.04, elsewhere, false},
		{10.1, 0.04, nowhere, true},
		{9.9, 0.06, elsewhere, false},
		{10.1, 0.06, nowhere, false},
	} {
		x := assessment.Reading{Suspect: true, Standardised: c.deviations}
		x.From, x.To = "a.end+", "a.end-"
		est := &estimate.Estimate{Fit: assessment.Fit{Converged: true, PValue: c.p}, Readings: []assessment.Reading{x}}
		says := doubtReason(est, nil, nil, c.resembles)
		if (says != "") != c.odd || c.odd && !strings.HasPrefix(says, "A reading of a.end+ to a.end- contradicts the others without an apparent mistake") {
			t.Errorf("%g deviations off, p %g, like %q: %q", c.deviations, c.p, c.resembles(x), says)
		}
	}
}

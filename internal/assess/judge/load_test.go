package judge

import (
	"strings"
	"testing"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/simulate/calibrationtest"
)

// A step that draws two thirds of the stated current is reported with its share, the others are
// not, and the verdicts stay.
func TestLoadsThatAreNotAsStated(t *testing.T) {
	r := ring()
	for _, scale := range []float64{1, 0.65} {
		a := assess(t, r, readAll(t, r, survey.Thorough(r), func(p *calibrationtest.Plant) { p.Scales[3] *= scale }))
		said := findings(a)
		if got := strings.Contains(said, "of what the run file says"); got != (scale < 1) {
			t.Errorf("%g times as stated: %s", scale, said)
		}
		if scale < 1 && (!strings.Contains(said, r.Steps[3].Name) || strings.Contains(said, "in step \""+r.Steps[2].Name)) {
			t.Errorf("other steps are told: %s", said)
		}
		if scale < 1 && !strings.Contains(said, "if a feed, a wire or a lamp is missing in the run file, the resistances are wrong") {
			t.Errorf("what the resistances depend on is not said: %s", said)
		}
		if a.Doubtful {
			t.Errorf("%g times as stated throws the run into doubt", scale)
		}
	}
}

package judge

import (
	"math/rand/v2"
	"testing"
	"time"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// Four joints of the simulated commissionings, between 44 and 136 mΩ, in runs fed at both ends.
// Without bounds at zero they are unproven, because a negative plus can balance a minus above the
// limit.
func TestNoVerdictFromNegativeResistance(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	bad := map[int]string{10: "r0-r1", 30: "r1-r2", 136: "r0-r1", 148: "r1-r2"}
	for i := range 149 {
		p, visits := commissioning(t, i, rng)
		list, err := p.Walk(visits, rng, time.Unix(0, 0))
		if err != nil {
			t.Fatal(err)
		}
		name, asked := bad[i]
		if !asked {
			continue
		}
		e := loopOf(t, assess(t, p.Run, list), run.KindJoint, name)
		if truth := trueLoop(p.Run, p, e); truth < 1.5*e.Limit {
			t.Fatalf("run %d: %s has %.1f mΩ", i, name, 1e3*truth)
		}
		if e.Verdict != assessment.Fail {
			t.Errorf("run %d: %s is %s (%.1f to %.1f mΩ, over %.4f)", i, name, e.Verdict, 1e3*e.Low, 1e3*e.High, e.ProbabilityOverLimit)
		}
	}
}

package judge

import (
	"strings"
	"testing"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

// Where a fit does not explain the readings, the finding names the line of the largest residual
// among those used.
func TestLargestDifference(t *testing.T) {
	j := unproven(assessment.Fit{Converged: true, PValue: 1e-6}, assessment.Element{})
	j.out.Readings = make([]assessment.Reading, 3)
	for i, z := range []float64{3, -5, 90} {
		x := &j.out.Readings[i]
		x.Row, x.From, x.To, x.Step, x.Standardised, x.Used = i+2, "a.end+", "a.end-", "white", z, i < 2
		x.Quantity = run.Voltage
	}
	j.out.Doubt = "Something is odd"
	j.out.Doubtful = doubtful(j.out)
	j.reportMisfit()
	if told := findings(j.out); !strings.Contains(told, "The largest difference is at line 3 (a.end+ to a.end-, \"white\").") {
		t.Error(told)
	}
}

// The reason for an undecided element names only what prevents a verdict: no doubt where there is
// none, and no pass that would not be one.
func TestWhySaysNoMore(t *testing.T) {
	settled := assessment.Fit{Converged: true, PValue: 0.4}
	for deviation, passes := range map[float64]bool{0.0037: true, 0.0042: false} {
		j := unproven(settled, assessment.Element{Ohms: 0.005, Low: 0.002, High: 0.009, ProbabilityOverLimit: 0.0162, Known: true})
		j.est.Elements[0].Belief = verdict.Belief{Mean: 0.005, Deviation: deviation}
		got := j.why(0)
		if strings.Contains(got, "Near its best value the readings would give") != passes {
			t.Errorf("± %g: %q", deviation, got)
		}
		if strings.Contains(got, "doubt") {
			t.Errorf("± %g: %q, and nothing is in doubt", deviation, got)
		}
	}
}

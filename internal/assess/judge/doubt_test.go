package judge

import (
	"strings"
	"testing"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/fit/model"
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

// A joint, feed or conductor far below zero contradicts the run file, so that nothing passes by that
// explanation. A supply's resistance may be estimated below zero, since it is known together with its
// voltage; a reel's has prior odds.
func TestNegativeResistanceByKind(t *testing.T) {
	for _, c := range []struct {
		kind  run.Kind
		rail  run.Rail
		sigma float64
		says  string
	}{
		{run.KindFeed, run.Loop, 4.1, "Feed x seems to have a negative resistance, which is impossible"},
		{run.KindFeed, run.Minus, 4.1, "Feed x, its minus conductor, seems to have a negative resistance, which is impossible"},
		{run.KindFeed, run.Loop, 3.9, ""},
		{run.KindReel, run.Loop, 4.1, ""},
		{run.KindSupply, run.Loop, 4.1, ""},
	} {
		est := &estimate.Estimate{Fit: assessment.Fit{Converged: true, PValue: 0.5}, Elements: []estimate.Element{
			{Kind: c.kind, Rail: c.rail, Known: true, Belief: verdict.Belief{Mean: -c.sigma * 0.001, Deviation: 0.001}}}}
		est.Linear = model.Linear{Model: &model.Model{}}
		j := &judgement{run: &run.Run{Feeds: []run.Feed{{Name: "x"}}}, est: est, out: &assessment.Assessment{}}
		if got := j.doubt(); got != c.says || j.differs(est) != (c.says != "") {
			t.Errorf("%s, %g deviations below zero: %q, want %q", c.kind, c.sigma, got, c.says)
		}
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

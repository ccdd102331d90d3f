package judge

import (
	"math"
	"strings"
	"testing"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// A conductor that may be open gets advice, also where the fit is in doubt; a sound one gets
// none.
func TestAdviceOnWhatMayBeOpen(t *testing.T) {
	open := assessment.Element{Ohms: math.Inf(1), Low: 0.0005, High: math.Inf(1), ProbabilityOverLimit: 0.97, Known: true}
	for _, c := range []struct {
		name string
		kind run.Kind
		fit  assessment.Fit
		says []string
	}{
		{"joint", run.KindJoint, assessment.Fit{Converged: true, PValue: 0.4}, []string{"warning joint a-b: Perhaps open. An open conductor explains the readings best, but the probability that it is over its limit is 97.0 %",
			"Disconnect the supply, then look for a broken conductor", "Or read the voltages from a.end+ to b.start+ and from a.end- to b.start- in the brightest step"}},
		{"joint in doubt", run.KindJoint, assessment.Fit{PValue: 1e-9}, []string{"warning joint a-b: Perhaps open.", "Disconnect the supply, then look for a broken conductor"}},
		{"feed", run.KindFeed, assessment.Fit{Converged: true, PValue: 0.4}, []string{"warning feed f: Perhaps open.", "Disconnect the supply", "Or read its current in the brightest step: an open feed carries none."}},
		{"joint of many ohms", run.KindJoint, assessment.Fit{PValue: 0.4}, []string{"warning joint a-b: Perhaps open. The probability", "Disconnect the supply, then look for a broken conductor"}},
	} {
		j := unproven(c.fit, open)
		if strings.Contains(c.name, "ohms") {
			j.out.Elements[0].Ohms, j.out.Elements[0].Low = 17, 0
		}
		j.out.Doubtful = doubtful(j.out)
		if c.kind == run.KindFeed {
			j.run.Joints, j.run.Feeds = nil, []run.Feed{{Name: "f"}}
			j.est.Elements[0].Kind, j.out.Elements[0].Kind, j.out.Elements[0].Name = c.kind, c.kind, "f"
		}
		j.reportUnproven()
		for _, want := range c.says {
			if got := findings(j.out); !strings.Contains(got, want) {
				t.Errorf("%s: %q is missing in\n%s", c.name, want, got)
			}
		}
		if got := j.advice(0); !strings.HasPrefix(got, openAdvice) || got == openAdvice {
			t.Errorf("%s: %q", c.name, got)
		}
	}
	j := unproven(assessment.Fit{Converged: true, PValue: 0.4}, assessment.Element{Ohms: 0.01, Low: 0.005, High: 0.02, ProbabilityOverLimit: 0.2, Known: true})
	j.reportUnproven()
	if got := findings(j.out); strings.Contains(got, "open") || j.advice(0) != "" {
		t.Errorf("%q, %s", j.advice(0), got)
	}
}

// Findings state no heat of an open conductor, and no watts with an exponent.
func TestHeatInFindings(t *testing.T) {
	for _, c := range []struct {
		ohms, watts float64
		says        string
	}{{0.1, 0.04, ""}, {0.1, 0.4, "It turns 0.4 W into heat at 2.00 A."}, {0.3, 240, "It turns 240 W into heat"}, {75.3, 240, ""}, {math.Inf(1), 240, ""}} {
		j := unproven(assessment.Fit{Converged: true, PValue: 0.4}, assessment.Element{Ohms: c.ohms, Low: 0.05, High: math.Inf(1), Amps: 2, Watts: c.watts})
		got := j.failure(&j.out.Elements[0])
		if c.says == "" && strings.Contains(got, "heat") || !strings.Contains(got, c.says) {
			t.Errorf("%g Ω, %g W: %q", c.ohms, c.watts, got)
		}
	}
}

// A joint or feed that would be open without some readings is reported as open, not with a
// resistance that no reading can exclude.
func TestAsOpen(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		kind       run.Kind
		known      bool
		low, high  float64
		ohms, from float64
	}{
		{run.KindJoint, true, inf, inf, inf, maxExcludedOhms}, {run.KindFeed, true, 12, 90, inf, 12},
		{run.KindFeed, true, 9, 90, inf, 9}, {run.KindFeed, true, 0.2, 90, 50, 0.2}, {run.KindFeed, true, 0.4, 9, 50, 0.4}, {run.KindFeed, false, 12, 90, 50, 12}, {run.KindReel, true, 12, 90, 50, 12},
	} {
		p := asOpen(c.kind, assessment.Part{Known: c.known, Ohms: 50, Low: c.low, High: c.high})
		if p.Ohms != c.ohms || p.Low != c.from || math.IsInf(p.Ohms, 1) != math.IsInf(p.High, 1) {
			t.Errorf("%s, %g to %g: %+v", c.kind, c.low, c.high, p)
		}
	}
}

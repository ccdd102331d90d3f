package judge

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/calibrationtest"
	"ohmkeep/internal/verdict"
)

// Each reason by itself, with its figures: 0.5 % passes, and of seven that are judged
// 0.99^(1/7) = 99.8565 % fails.
func TestWhy(t *testing.T) {
	inf := math.Inf(1)
	settled := assessment.Fit{Converged: true, PValue: 0.4}
	for _, c := range []struct {
		name            string
		fit             assessment.Fit
		ohms, low, high float64
		over            float64
		known           bool
		near            verdict.Belief // what the readings say near the best value
		says            []string
	}{
		{"inside the limit", settled, 0.005, 0.002, 0.009, 0.0162, true, verdict.Belief{Mean: 0.005, Deviation: 0.005},
			[]string{"Its 95 % interval lies inside the limit, but the probability that it is over its limit is 1.62 %; a pass needs 0.5 % or less."}},
		{"inside the limit, and curved", settled, 0.005, 0.002, 0.009, 0.0162, true, verdict.Belief{Mean: 0.005, Deviation: 0.0037},
			[]string{"is 1.62 %; a pass needs 0.5 % or less. Near its best value the readings would give 0.377 %, but nearer the limit they determine it less well."}},
		{"above the limit", settled, 0.040, 0.030, 0.050, 0.99474, true, verdict.Belief{Mean: 0.04, Deviation: 0.01},
			[]string{"Its 95 % interval lies above the limit, but the probability that it is over its limit is 99.47 %; a failure needs 99.86 % or more, because all elements share one risk of a false alarm."}},
		{"across the limit", settled, 0.014, 0.005, 0.023, 0.4, true, verdict.Belief{Mean: 0.014, Deviation: 0.005},
			[]string{"The probability that it is over its limit is 40 %; a pass needs 0.5 % or less, and a failure needs 99.86 % or more"}},
		{"not settled", assessment.Fit{PValue: 0.4}, 0.040, 0.030, 0.050, 0.9999, true, verdict.Belief{},
			[]string{"is 99.990 %, which would be a fail, but the fit of an explanation that has a probability of more than 99.9999 % did not converge, and tells nothing."}},
		{"assumed", settled, 0.003, 0, inf, 0.99, false, verdict.Belief{},
			[]string{"its value still follows more from the run file than from the readings"}},
		{"open, not certain", settled, inf, 0.0005, inf, 0.97, true, verdict.Belief{},
			[]string{"An open conductor explains the readings best, but the probability that it is over its limit is 97.0 %; a failure needs 99.86 % or more"}},
	} {
		j := unproven(c.fit, assessment.Element{Ohms: c.ohms, Low: c.low, High: c.high, ProbabilityOverLimit: c.over, Known: c.known})
		j.est.Elements[0].Belief = c.near
		if !c.fit.Converged {
			j.unconverged = 1
		}
		for _, want := range c.says {
			if got := j.why(0); !strings.Contains(got, want) {
				t.Errorf("%s: %q, want %q", c.name, got, want)
			}
		}
		j.out.Elements[0].Verdict = assessment.Pass
		if got := j.why(0); got != "" {
			t.Errorf("%s: passes, and yet %q", c.name, got)
		}
	}
}

// unproven is a judged run of seven elements with one joint of a limit of 15 mΩ that is
// unproven.
func unproven(fit assessment.Fit, x assessment.Element) *judgement {
	x.Kind, x.Name, x.Rail, x.Limit, x.Verdict = run.KindJoint, "a-b", run.Loop, 0.015, assessment.Unproven
	return &judgement{
		run: &run.Run{Joints: []run.Joint{{Name: "a-b", To: 1}}, Reels: []run.Reel{{Name: "a", Pixels: 30}, {Name: "b", Pixels: 30}}},
		est: &estimate.Estimate{Fit: fit, Linear: model.Linear{Model: &model.Model{}}, Inflation: 1, Elements: []estimate.Element{{Kind: run.KindJoint, Rail: run.Loop, Known: x.Known}}},
		out: &assessment.Assessment{Fit: fit, Elements: []assessment.Element{x},
			Readings: []assessment.Reading{{Reading: reading.Reading{Quantity: run.Voltage}, Used: true}}},
		rule: verdict.RuleFor(7),
	}
}

// In simulated commissionings every unproven element has a reason and no other element has one.
// An interval inside the limit is always given with the probability that a pass needs.
func TestWhyOfCommissionings(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 4))
	reasons, inside := 0, 0
	for i := range min(14, 2**simulations) {
		p, visits := commissioning(t, i, rng)
		list, err := p.Walk(visits[:len(visits)*4/5], rng, time.Unix(0, 0))
		if err != nil {
			t.Fatal(err)
		}
		j, err := judgeReadings(p.Run, list)
		if err != nil {
			t.Fatal(err)
		}
		for n := range j.est.Elements {
			x := j.assessed(n)
			if x == nil || x.Rail != run.Loop {
				continue
			}
			why := j.why(n)
			if (why != "") != (x.Verdict == assessment.Unproven) {
				t.Errorf("run %d: %s %s is %s: %q", i, x.Kind, x.Name, x.Verdict, why)
			}
			if why == "" {
				continue
			}
			reasons++
			if x.Known && x.High <= x.Limit && !j.out.Doubtful {
				inside++
				if !strings.HasPrefix(why, "Its 95 % interval lies inside the limit, but") || !strings.Contains(why, "needs 0.5 % or less") {
					t.Errorf("run %d: %s %s: %q", i, x.Kind, x.Name, why)
				}
			}
		}
	}
	if reasons == 0 || everyCase() && inside == 0 {
		t.Errorf("%d unproven, %d of them inside the limit", reasons, inside)
	}
	t.Logf("%d unproven, %d of them inside the limit", reasons, inside)
}

// A probability is written with enough digits to differ from the limits of a verdict, and never
// as certain.
func TestPercent(t *testing.T) {
	for p, want := range map[float64]string{0: "less than 0.0001 %", 0.005: "0.5 %", 0.00503: "0.503 %", 0.0162: "1.62 %", 0.4: "40 %",
		0.5: "50 %", 0.7: "70 %", 0.99474: "99.47 %", 0.998565: "99.86 %", 1: "more than 99.9999 %", 2e-6: "0.0002 %"} {
		if got := percent(p); got != want {
			t.Errorf("%g: %s, want %s", p, got, want)
		}
	}
}

// Without usable readings the finding says so, instead of listing every element, and the fit has
// no p-value.
func TestNothingRead(t *testing.T) {
	r := ring()
	warm := readAll(t, r, []survey.Visit{{Quantity: run.Temperature, From: "r0"}}, func(*calibrationtest.Plant) {})
	all := readAll(t, r, survey.Thorough(r), func(*calibrationtest.Plant) {})
	nowhere := slices.Clone(all)
	for i := range nowhere {
		nowhere[i].Step = ""
	}
	for _, c := range []struct {
		list []reading.Reading
		says string
	}{{nil, nothingRead}, {warm, nothingRead}, {nowhere, noneUsed}, {all[:1], ""}, {all, ""}} {
		a, x, err := Explain(r, c.list, "r0-r1")
		if err != nil {
			t.Fatal(err)
		}
		text := findings(a)
		if c.says == "" {
			if strings.Contains(text, nothingRead) || strings.Contains(text, noneUsed) || a.Unread || !a.Fit.Converged {
				t.Errorf("%d readings: %+v, %s", len(c.list), a.Fit, text)
			}
			continue
		}
		if !strings.Contains(text, "notice readings: "+c.says) || x.Why != c.says || strings.Contains(text, "Not enough readings") || strings.Contains(text, "fit:") {
			t.Errorf("%d readings: %q, %s", len(c.list), x.Why, text)
		}
		if f := a.Fit; !a.Unread || f.Converged || f.DegreesOfFreedom != 0 || !math.IsNaN(f.PValue) || a.Verdict != assessment.Unproven {
			t.Errorf("%d readings: %+v, %s", len(c.list), f, a.Verdict)
		}
	}
}

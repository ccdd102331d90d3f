package judge

import (
	"testing"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/calibrationtest"
	"ohmkeep/internal/verdict"
)

// The probability of explanations whose fit did not converge counts against either verdict, that of
// explanations in which the run differs from its file against a pass; the p-value does not count. A probability between the limits decides nothing.
func TestVerdictOf(t *testing.T) {
	for _, c := range []struct {
		name                         string
		unconverged, over, differing float64
		want                         assessment.Verdict
	}{
		{"above", 0, 0.9999, 0, assessment.Fail},
		{"below", 0, 0.001, 0, assessment.Pass},
		{"between", 0, 0.99, 0, assessment.Unproven},
		{"above, not converged", 1, 0.9999, 0, assessment.Unproven},
		{"below, not converged", 1, 0.001, 0, assessment.Unproven},
		{"above, hardly unconverged", 0.001, 0.9999, 0, assessment.Fail},
		{"above, perhaps unconverged", 0.002, 0.9999, 0, assessment.Unproven},
		{"below, hardly unconverged", 0.0039, 0.001, 0, assessment.Pass},
		{"below, perhaps unconverged", 0.0041, 0.001, 0, assessment.Unproven},
		{"below, perhaps not as stated", 0, 0.001, 0.0041, assessment.Unproven},
		{"above, not as stated", 0, 0.9999, 1, assessment.Fail},
	} {
		j := &judgement{est: &estimate.Estimate{Fit: assessment.Fit{PValue: 1e-9}, Linear: model.Linear{Model: &model.Model{}}}, rule: verdict.RuleFor(7), unconverged: c.unconverged, differing: c.differing}
		if got := j.verdictOf(&estimate.Element{}, c.over, true); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
		if got := j.verdictOf(&estimate.Element{}, c.over, false); got != assessment.Unproven {
			t.Errorf("%s, not known: %s", c.name, got)
		}
	}
}

// Where an unlisted wire from one end of a reel to the other explains the readings best, neither the reel nor
// a joint or feed at it fails. Elsewhere they do; beside a feed only the reel does not.
func TestNothingFailsBesideAnUnlistedWire(t *testing.T) {
	r := ring()
	const reel = 2
	m, err := model.New(r, readAll(t, r, survey.Thorough(r), func(*calibrationtest.Plant) {}))
	if err != nil {
		t.Fatal(err)
	}
	with, err := m.WithUnlistedAt(reel, model.FollowsLoad)
	if err != nil {
		t.Fatal(err)
	}
	failsBeside(t, r, with, reel, [3]float64{0.2, 0, -0.2}, true)
	failsBeside(t, r, with, reel, [3]float64{0, -0.2, -0.02}, false)
}

// failsBeside checks that nothing at a reel fails with unlisted currents of the given parts at its start,
// its middle and its end, where they are those of a wire, and that everything else does.
func failsBeside(t *testing.T, r *run.Run, with *model.Model, reel int, parts [3]float64, wire bool) {
	t.Helper()
	a := with.Assume()
	x := with.Start(a)
	for i, u := range with.Unknowns {
		if u.What == model.UnlistedShare && u.Index < len(parts) {
			x[i] = parts[u.Index]
		}
	}
	j := &judgement{run: r, rule: verdict.RuleFor(7), est: &estimate.Estimate{Linear: model.Linear{Model: with, Assumptions: a, X: x}}}
	at := func(beside bool, e estimate.Element) {
		want := assessment.Fail
		if beside && (wire || e.Kind == run.KindReel) {
			want = assessment.Unproven
		}
		if got := j.verdictOf(&e, 0.9999, true); got != want {
			t.Errorf("%s %s: %s, want %s", e.Kind, j.name(&e), got, want)
		}
	}
	for i := range r.Reels {
		at(i == reel, estimate.Element{Kind: run.KindReel, Index: i})
	}
	for i, x := range r.Joints {
		at(x.From == reel || x.To == reel, estimate.Element{Kind: run.KindJoint, Index: i})
	}
	for i, x := range r.Feeds {
		at(x.To.Kind == run.AtReel && x.To.Index == reel, estimate.Element{Kind: run.KindFeed, Index: i})
	}
}

// The mistake that a wrong reading looks like, in a run with the listed predictions.
func TestLikelyMistake(t *testing.T) {
	expected := func(from, step string, volts float64) assessment.Reading {
		return assessment.Reading{Reading: reading.Reading{From: from, To: "-", Step: step}, Predicted: volts}
	}
	others := []assessment.Reading{
		expected("a.start+", "white", 4.80), expected("a.end+", "white", 4.50), expected("a.end+", "dark", 5.00),
		expected("b.start+", "white", 4.502), expected("b.end+", "dark", 4.20),
	}
	for _, c := range []struct {
		text      string
		value     float64
		predicted float64
		says      string
	}{
		{"-4.500", -4.5, 4.5, "its leads may have been reversed"},
		{"-0.002", -0.002, 0.001, ""}, // next to nothing either way
		{"4500", 4500, 4.5, "its unit may be wrong: a thousandth of the value would fit"},
		{"0.0045", 0.0045, 4.5, "its unit may be wrong: 1000 times the value would fit"},
		{"45.00", 45, 4.5, "its decimal point may be wrong: a tenth of the value would fit"},
		{"0.450", 0.45, 4.5, "its decimal point may be wrong: ten times the value would fit"},
		{"450", 450, 4.5, "its decimal point may be wrong: a hundredth of the value would fit"},
		{"0.045", 0.045, 4.5, "its decimal point may be wrong: 100 times the value would fit"},
		{"4.050", 4.05, 4.5, "digits may be swapped: 4.500 would fit"},
		{"5.400", 5.4, 4.5, "digits may be swapped: 4.500 would fit"}, // across the point
		{"4.801", 4.801, 4.5, "it reads like a.start in the same step"},
		{"5.001", 5.001, 4.5, `it reads like the same place in step "dark"`},
		{"4.201", 4.201, 4.5, ""}, // another place in another step
		{"4.300", 4.3, 4.5, ""},
		{"4.508", 4.508, 4.5, ""}, // b.start is expected to show the same
	} {
		if got := resembling(others, c.text, c.value, c.predicted, 0.002); got != c.says {
			t.Errorf("%s: %q, want %q", c.text, got, c.says)
		}
	}
	// Where the other readings predict a value badly, agreement within four deviations does not make a
	// mistake likely; a correction that removes nine tenths of the difference does.
	for _, c := range []struct {
		text      string
		value     float64
		predicted float64
		deviation float64
		says      string
	}{
		{"4.690", 4.69, 5.106, 0.05, ""}, // 4.960 keeps 35 %, a.start 26 %
		{"4.690", 4.69, 4.98, 0.05, "digits may be swapped: 4.960 would fit"},
		{"4.690", 4.69, 4.992, 0.05, ""}, // 4.960 keeps 11 %
		{"-3.600", -3.6, 4.5, 0.3, ""},   // 11 %
		{"-3.700", -3.7, 4.5, 0.3, "its leads may have been reversed"},
		{"0.40", 0.4, 4.5, 0.3, ""}, // 12 %
		{"0.42", 0.42, 4.5, 0.3, "its decimal point may be wrong: ten times the value would fit"},
		{"4.700", 4.7, 5.106, 0.05, ""}, // a.start keeps 25 %
		{"4.800", 4.8, 5.106, 0.05, "it reads like a.start in the same step"},
	} {
		if got := resembling(others, c.text, c.value, c.predicted, c.deviation); got != c.says {
			t.Errorf("%s of %g ± %g: %q, want %q", c.text, c.predicted, c.deviation, got, c.says)
		}
	}
}

// resembling is what a reading of a.end in step white looks like.
func resembling(others []assessment.Reading, text string, value, predicted, deviation float64) string {
	x := assessment.Reading{Reading: reading.Reading{From: "a.end+", To: "-", Step: "white", Text: text, Unit: "V", Value: value},
		Predicted: predicted, Residual: value - predicted, Suspect: true}
	x.Standardised = x.Residual / deviation
	j := &judgement{run: &run.Run{}, out: &assessment.Assessment{Readings: others}}
	return j.likelyMistake(x)
}

// A reading out of its meter's range is reported and stays excluded, however well it fits, also
// with open conductors in the run.
func TestReadingThatNoRangeShows(t *testing.T) {
	r := *ring()
	r.Meters = append(r.Meters[:1:1], run.Meter{Name: "small", Ranges: []run.Range{
		{Quantity: run.Voltage, UpTo: 1, Resolution: 0.001, Fraction: 0.005, Counts: 3}}})
	for _, open := range []bool{false, true} {
		list := readAll(t, &r, survey.Thorough(&r), func(p *calibrationtest.Plant) {
			if open {
				p.Feeds[1].Plus = 1e7
			}
		})
		k := 0
		for list[k].Quantity != run.Voltage || list[k].Value < 4 {
			k++
		}
		list[k].Meter = "small"
		a := assess(t, &r, list)
		if x := a.Readings[k]; x.Used || !x.Suspect {
			t.Errorf("open %v: used %v, suspect %v", open, x.Used, x.Suspect)
		}
		if e := loopOf(t, a, run.KindFeed, r.Feeds[1].Name); open != e.Open() {
			t.Errorf("open %v: feed %+v", open, e)
		}
	}
}

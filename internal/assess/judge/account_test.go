package judge

import (
	"slices"
	"strings"
	"testing"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/plant"
	"ohmkeep/internal/simulate/planttest"
	"ohmkeep/internal/verdict"
)

// Each element without a verdict has an account: how far on the other side of its limit it may be,
// and if what. Where a reading is listed that settles it, that is named too. The cases are read in
// two steps, some without the voltages along one rail.
func TestDoubtHasAName(t *testing.T) {
	by := plant.Plain
	by.TwoSteps = true
	undecided, decided := 0, 0
	for seed, kind := range planttest.Kinds() {
		if seed%4 > 1 && !everyCase() {
			continue
		}
		c, err := planttest.Commission(kind, by, planttest.BadJoint, planttest.NoSlip, uint64(seed))
		if err != nil || c == nil {
			t.Fatal(kind.Name, err)
		}
		list := c.Readings
		if seed%2 == 0 {
			list = nil
			for _, x := range c.Readings {
				if x.Unit != "mV" {
					list = append(list, x)
				}
			}
		}
		j, err := judgeReadings(c.Run, list)
		if err != nil {
			t.Fatal(err)
		}
		for i := range j.est.Elements {
			x := j.assessed(i)
			if x == nil || x.Verdict != assessment.Unproven || x.Open() || x.Rail != run.Loop && !j.isCutJoint(*x) {
				continue
			}
			if !x.Known && x.Amps > 0.1 {
				continue // the values in brackets are listed in one finding
			}
			undecided++
			text := j.couldBe(i)
			if !strings.HasPrefix(text, "It could ") || !strings.Contains(text, " if ") && !strings.Contains(text, "no step sends more than") {
				t.Errorf("%s: %s %s: %q", kind.Name, x.Kind, x.Name, text)
			}
			if strings.Contains(text, "would decide") {
				decided++
			}
		}
	}
	if least := map[bool]int{false: 3, true: 10}[everyCase()]; undecided < least || decided < least/2 {
		t.Errorf("%d elements undecided, %d with a reading that would decide", undecided, decided)
	}
}

// The account of a feed whose current was not read is its current: the condition named is one
// of those that a reading of it would rule out.
func TestAccountNamesWhatIsNotRead(t *testing.T) {
	r, list := readLanding(t, 1.2, "full")
	var few []reading.Reading
	for _, x := range list {
		if x.Quantity == run.Voltage {
			few = append(few, x)
		}
	}
	_, x, err := Explain(r, few, "far")
	if err != nil {
		t.Fatal(err)
	}
	if x.Element.Verdict != assessment.Unproven || !strings.Contains(x.Why, "the pixels drew") {
		t.Errorf("%s: %s", x.Element.Verdict, x.Why)
	}
}

// A feed whose current and end voltages were read could reach its limit only if a joint were open: the
// account is that of a fit with the feed held there. By the covariance it would be the copper and the
// meter.
func TestAccountOfAnotherState(t *testing.T) {
	c := commission(t, planttest.Kinds()[1], planttest.NoSlip, 0)
	var few []reading.Reading
	for _, x := range c.Readings {
		if x.Step == "bright" && (x.Quantity == run.Current || slices.Contains([]string{"A+ A-", "alcove.start+ alcove.start-", "cove.end+ cove.end-"}, x.From+" "+x.To)) {
			few = append(few, x)
		}
	}
	a, x, err := Explain(c.Run, few, "near")
	if err != nil {
		t.Fatal(err)
	}
	if x.Element.Verdict != assessment.Unproven || !strings.Contains(x.Why, "joint alcove-bay's minus conductor were open") {
		t.Errorf("%s: %s\n%s", x.Element.Verdict, x.Why, findings(a))
	}
}

// What a reel may have is stated per metre. No element is said to have less than the run file states.
func TestOtherSide(t *testing.T) {
	for _, c := range []struct {
		x    assessment.Element
		says string
	}{
		{assessment.Element{Kind: run.KindReel, Ohms: 0.06, Low: 0.05, High: 0.08, Limit: 0.07}, "It could have 80 mΩ per metre"},
		{assessment.Element{Kind: run.KindFeed, Ohms: 0.2, Low: 0, High: 0.3, Limit: 0.15}, "It could have 60 mΩ"},
		{assessment.Element{Kind: run.KindFeed, Ohms: 0.2, Low: 0.1, High: 0.3, Limit: 0.15}, "It could have 100 mΩ"},
	} {
		if _, text := otherSide(&c.x, 0.06); text != c.says {
			t.Errorf("%q, want %q", text, c.says)
		}
	}
}

// A reel is undecided only because the currents of two feeds may not have been exchanged. The account
// is that, and not what else would have to be true if they were: copper 60 K colder.
func TestAccountOfAnotherExplanation(t *testing.T) {
	belief := func(mean, deviation float64) verdict.Distribution {
		return verdict.Distribution{Belief: verdict.Belief{Mean: mean, Deviation: deviation}}
	}
	reel := []estimate.Element{{Kind: run.KindReel, Rail: run.Loop, Known: true, Row: []float64{0}}}
	linear := model.Linear{Model: &model.Model{}, Covariance: leastsquares.NewMatrix(1, 1)}
	est := &estimate.Estimate{Elements: reel, Linear: linear, Mistakes: []model.Mistake{{Kind: model.FeedsSwapped, A: 1}}}
	other := &estimate.Estimate{Elements: reel, Linear: linear}
	j := &judgement{
		run: &run.Run{Reels: []run.Reel{{Name: "west"}}, Feeds: []run.Feed{{Name: "near"}, {Name: "far"}}}, est: est, explanations: []*estimate.Estimate{est, other},
		mixtures: []verdict.Mixture{{{Weight: 0.9, Distribution: belief(0.060, 0.002)}, {Weight: 0.1, Distribution: belief(0.081, 0.003)}}},
		out: &assessment.Assessment{Elements: []assessment.Element{
			{Kind: run.KindReel, Name: "west", Rail: run.Loop, Known: true, Verdict: assessment.Unproven, Ohms: 0.060, Low: 0.056, High: 0.083, Limit: 0.075, Amps: 1}}},
	}
	if got, want := j.account(0), "It could have 83 mΩ per metre if the currents of feeds far and near were not swapped."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// A reel whose rails differ a little, and change alike, is one condition.
func TestConditionOfBothRails(t *testing.T) {
	c := commission(t, planttest.Kinds()[1], planttest.NoSlip, 0)
	j, err := judgeReadings(c.Run, c.Readings)
	if err != nil {
		t.Fatal(err)
	}
	rails := j.est.Model.Reels[0]
	j.est.X[rails[0]], j.est.X[rails[1]] = 1.04, 0.96
	shifts := make([]float64, len(j.est.X))
	shifts[rails[0]], shifts[rails[1]] = -0.2, -0.18
	if a, b := j.condition(rails[0], shifts), j.condition(rails[1], shifts); a != b || !strings.HasSuffix(a, " had 19 % less") {
		t.Errorf("%s; %s", a, b)
	}
}

package judge

import (
	"slices"
	"strings"
	"testing"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/plant"
	"ohmkeep/internal/simulate/planttest"
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

// What a reel may have is stated per metre.
func TestOtherSideOfReel(t *testing.T) {
	_, text := (&judgement{}).otherSide(&assessment.Element{Kind: run.KindReel, Ohms: 0.06, Low: 0.05, High: 0.08, Limit: 0.07})
	if !strings.HasSuffix(text, "80 mΩ per metre") {
		t.Error(text)
	}
}

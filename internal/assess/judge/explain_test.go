package judge

import (
	"slices"
	"strings"
	"testing"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/calibrationtest"
)

func bent(p *calibrationtest.Plant) { p.Joints[0] = ladder.Rails{Plus: 0.002, Minus: 0.09} }

// The verdict on a bad joint rests on the voltages at it: without those it has none, and without
// any single other reading it keeps it.
func TestExplain(t *testing.T) {
	r := ring()
	list := readAll(t, r, minusOnly(survey.Thorough(r)), bent)
	a, x, err := Explain(r, list, "r0-r1")
	if err != nil {
		t.Fatal(err)
	}
	if x.Element != loopOf(t, a, run.KindJoint, "r0-r1") {
		t.Errorf("explains %+v", x.Element)
	}
	i := slices.IndexFunc(x.Parts, func(p assessment.Part) bool { return p.What == "the pair voltages either side of it" && p.Step == "" })
	if i < 0 || x.Parts[i].Share < 0.2 {
		t.Fatalf("parts: %+v", x.Parts)
	}
	p := x.Parts[i]
	for _, row := range p.Rows {
		if from := list[row-2].From; !strings.HasPrefix(from, "r0.end") && !strings.HasPrefix(from, "r1.start") {
			t.Errorf("row %d (%s) is not beside the joint", row, from)
		}
	}
	if len(p.Rows) != 2*len(r.Steps) {
		t.Errorf("%d rows beside the joint", len(p.Rows))
	}
	step := x.Parts[i+1]
	if !step.PartOfPrevious || step.Step == "" || step.Share <= 0 || step.Share > p.Share || len(step.Rows) != 2 {
		t.Errorf("in the step that weighs most: %+v", step)
	}
	if x.Single == nil || len(x.Single.Rows) != 1 || x.Single.Verdict != assessment.Fail {
		t.Errorf("the weightiest reading: %+v", x.Single)
	}
	// A fit without any of the voltages at the joint agrees with the stated estimate.
	var rest []reading.Reading
	for _, y := range list {
		if !slices.Contains(p.Rows, y.Row) {
			rest = append(rest, y)
		}
	}
	e := loopOf(t, assess(t, r, rest), run.KindJoint, "r0-r1")
	if e.High-e.Low < 1.1*(x.Element.High-x.Element.Low) {
		t.Errorf("without what carries it: %+v, with: %+v", e, x.Element)
	}
	sum := 0.0
	for _, s := range x.Sources {
		sum += s.Share
	}
	if sum < 0.8 || sum > 1+1e-9 {
		t.Errorf("sources: %+v", x.Sources)
	}
}

// A name without its kind is enough where it is unique.
func TestExplainNames(t *testing.T) {
	r := ring()
	r.Feeds[1].Name = "r1" // as a reel is
	list := readAll(t, r, survey.Thorough(r), func(*calibrationtest.Plant) {})
	for name, want := range map[string]run.Kind{"r0-r1": run.KindJoint, "joint:r0-r1": run.KindJoint, "feed:r1": run.KindFeed,
		"reel:r1": run.KindReel, "r2": run.KindReel, "A": run.KindSupply} {
		if _, x, err := Explain(r, list, name); err != nil || x.Element.Kind != want {
			t.Errorf("%s: %v, %v", name, x, err)
		}
	}
	for name, want := range map[string]string{"r1": "write feed:r1 or reel:r1", "feed:r0": "no joint, feed, reel or supply", "": "no joint"} {
		if _, _, err := Explain(r, list, name); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", name, err)
		}
	}
}

// Readings that were not used contribute nothing; an open conductor is not explained by parts, and has the advice of
// its finding.
func TestExplainOpen(t *testing.T) {
	r := ring()
	a, x, err := Explain(r, readAll(t, r, survey.Thorough(r), func(p *calibrationtest.Plant) { p.Feeds[1].Plus = 1e7 }), "far")
	if err != nil {
		t.Fatal(err)
	}
	if !x.Element.Open() || len(x.Parts) != 0 {
		t.Errorf("%+v", x)
	}
	if x.Element.Verdict != assessment.Fail || x.Advice != openAdvice || x.Why != "" || !strings.Contains(findings(a), openAdvice) {
		t.Errorf("%+v\n%s", x, findings(a))
	}
	list := readAll(t, r, []survey.Visit{{Quantity: run.Temperature, From: "r0"}}, func(*calibrationtest.Plant) {})
	if _, x, err = Explain(r, list, "far"); err != nil || len(x.Parts) != 0 || x.Single != nil {
		t.Errorf("%+v, %v", x, err)
	}
}

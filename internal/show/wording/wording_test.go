package wording

import (
	"fmt"
	"strings"
	"testing"

	"ohmkeep/internal/advise/colourloss"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/showtest"
)

// An assumption has no chance of being over a limit.
func TestAssumptionHasNoChance(t *testing.T) {
	e := assessment.Element{Kind: run.KindJoint, Name: "a-b", Limit: 0.015, Verdict: assessment.Unproven, Ohms: 0.003, ProbabilityOverLimit: 0.99}
	if got := LineOf(e).Over; got != "" {
		t.Errorf("what is assumed is over its limit with %s", got)
	}
}

// What fails is advised on by its finding, with the caution of the trade, before what is
// to be read again and read next.
func TestActions(t *testing.T) {
	a := showtest.Assessment()
	var got []string
	for _, act := range Actions(a) {
		got = append(got, act.Text+"|"+act.Caution)
	}
	for i, want := range []string{"Joint west-north: The plus conductor has 93.7 mΩ|", "Feed far: It behaves like", "Take the reading of line 9 again:", "Read the voltage from north.end+"} {
		if i >= len(got) || !strings.HasPrefix(strings.Replace(got[i], "where 15 mΩ is the most for both together. The minus is sound.", "", 1), strings.TrimSuffix(want, "|")) {
			t.Errorf("action %d of %q is not %q", i, got, want)
		}
	}
	if !strings.HasSuffix(got[0], "|"+beforeSoldering) || !strings.HasSuffix(got[1], "|"+atFeeds) {
		t.Errorf("cautions: %q", got)
	}
	if notes := Notes(a.Findings); len(notes) != 2 || notes[0].Severity != assessment.Warning {
		t.Errorf("%v", notes)
	}
}

// Readings that share a cause are named together, others one by one up to ten.
func TestReadAgain(t *testing.T) {
	var list []assessment.Reading
	for row := 2; row < 400; row++ {
		var x assessment.Reading
		x.Row, x.Step, x.Quantity, x.From, x.To = row, "dark", run.Voltage, "A+", "A-"
		switch {
		case row%2 == 0 && row < 50, row > 380:
			x.Suspect, x.Used, x.Note = true, true, "Steps \"dark\" and \"white\" seem to have been exchanged"
		case row == 100:
			x.Suspect, x.Note = true, "the leads may have been reversed"
		case row > 300 && row < 320:
			x.Suspect = true
		}
		list = append(list, x)
	}
	var got []string
	for _, act := range readAgain(list) {
		got = append(got, act.Text)
	}
	if len(got) != 12 || got[0] != `Check 43 readings, lines 2, 4, 6, 8 and 21 more: steps "dark" and "white" seem to have been exchanged; they were used as if that were so; correct the file, or take them again.` ||
		!strings.HasPrefix(got[1], "Take the reading of line 100 again: ") || !strings.Contains(got[1], "; the leads may have been reversed") ||
		got[11] != "Take again what else contradicts the others: 10 more, listed by --json." {
		t.Errorf("%d: %s", len(got), strings.Join(got, "\n"))
	}
	for rows, want := range map[string][]int{"line 7": {7}, "lines 2 to 4, 9, 11 to 12": {2, 3, 4, 9, 11, 12}} {
		if got := Lines(want); got != rows {
			t.Errorf("%q, not %q", got, rows)
		}
	}
}

func TestHeadline(t *testing.T) {
	element := func(name string, v assessment.Verdict) assessment.Element {
		return assessment.Element{Kind: run.KindJoint, Name: name, Rail: run.Loop, Ohms: 1, Limit: 1, Verdict: v, Known: true}
	}
	both := element("a", assessment.Fail)
	both.Rail = run.Plus
	var many []assessment.Element
	for i := range 9 {
		many = append(many, element(fmt.Sprint(i), assessment.Unproven))
	}
	for _, c := range []struct {
		want     string
		elements []assessment.Element
	}{
		{"PASS: all 2", []assessment.Element{element("a", assessment.Pass), element("b", assessment.Pass), element("c", assessment.None)}},
		{"FAIL: 1 of 2 — joint a", []assessment.Element{element("a", assessment.Pass), both, element("b", assessment.Pass)}},
		{"FAIL: 1 of 2 — joint a; not enough readings to decide: joint b", []assessment.Element{element("b", assessment.Unproven), element("a", assessment.Fail)}},
		{"UNPROVEN: not enough readings to decide 9 of 9 — joint 0, joint 1, joint 2, joint 3 and 5 more", many},
	} {
		got, verdict := Headline(&assessment.Assessment{Elements: c.elements})
		if got != c.want || !strings.HasPrefix(got, strings.ToUpper(string(verdict))) {
			t.Errorf("got  %s (%s)\nwant %s", got, verdict, c.want)
		}
	}
}

// Where nothing passes because the readings contradict the run file, more readings are not what is missing.
func TestHeadlineOfDoubtfulRun(t *testing.T) {
	a := &assessment.Assessment{Doubtful: true, Elements: []assessment.Element{{Kind: run.KindJoint, Name: "a-b", Rail: run.Loop, Verdict: assessment.Unproven}}}
	if got, _ := Headline(a); got != "UNPROVEN: the readings contradict the run file; undecided 1 of 1 — joint a-b" {
		t.Error(got)
	}
}

func TestWorstFirstLeavesItsInput(t *testing.T) {
	a := showtest.Assessment()
	got := WorstFirst(a.Elements)
	if a.Elements[0].Kind != run.KindSupply {
		t.Error("the input was sorted")
	}
	for i := 1; i < len(got); i++ {
		if grave(got[i-1].Verdict) < grave(got[i].Verdict) {
			t.Errorf("%s before %s", got[i-1].Verdict, got[i].Verdict)
		}
	}
	if got[0].Name != "west-north" || got[0].Rail != run.Loop || got[2].Name != "far" { // 6.5 times its limit before 1.2 times
		t.Errorf("first is %s %s, third %s", got[0].Name, got[0].Rail, got[2].Name)
	}
}

func TestCause(t *testing.T) {
	for _, c := range []struct {
		share colourloss.Share
		want  string
	}{
		{colourloss.Share{Kind: run.KindReel}, "the reels' copper"},
		{colourloss.Share{Kind: run.KindSupply, Names: []string{"A"}}, "trim of supply A"},
		{colourloss.Share{Kind: run.KindJoint, Names: []string{"a-b"}}, "joint a-b"},
		{colourloss.Share{Kind: run.KindJoint, Names: []string{"a-b", "b-c"}}, "2 other joints"},
		{colourloss.Share{Kind: run.KindSupply, Names: []string{"a", "b", "c"}}, "3 other supplies"},
	} {
		if got := Cause(c.share); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

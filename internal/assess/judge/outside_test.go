package judge

import (
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
)

// A ring of four reels with 132 mΩ in the plus of its middle joint, where hardly any current
// flows; simulated by an independent program. An open minus explains the readings as well, which
// is no reason to report it.
func TestBadPlusIsNoOpenMinus(t *testing.T) {
	r, readings := stored(t, "bad")
	a, err := Make(r, readings)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range a.Elements {
		if math.IsInf(e.Ohms, 1) {
			t.Errorf("%s %s %s is called open", e.Kind, e.Name, e.Rail)
		}
		if e.Kind == run.KindJoint && e.Rail == run.Loop && (e.Name == "r2-r3") != (e.Verdict == assessment.Fail) {
			t.Errorf("joint %s: %s", e.Name, e.Verdict)
		}
	}
}

// A joint of many ohms is open, whatever its upper bound: a joint of 75 Ω that turns 240 W into
// heat would be a wrong answer.
func TestJointOfManyOhmsIsOpen(t *testing.T) {
	r, readings := stored(t, "parted")
	a, err := Make(r, readings)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range a.Elements {
		if e.Kind == run.KindJoint && e.Rail == run.Loop && (e.Name == "r1-r2") != (e.Open() && e.Verdict == assessment.Fail && math.IsInf(e.High, 1) && e.Low > 10) {
			t.Errorf("joint %s: %g Ω (%g to %g), %s", e.Name, e.Ohms, e.Low, e.High, e.Verdict)
		}
	}
}

// A ring with almost no current in its middle joint: without bounds at zero the fit moves slowly
// among negative resistances and does not converge. Simulated by an independent program, which
// has the truth.
func TestSlowlyConvergingFit(t *testing.T) {
	r, readings := stored(t, "creeping")
	a, err := Make(r, readings)
	if err != nil {
		t.Fatal(err)
	}
	if a.Doubtful {
		t.Errorf("%+v, %s", a.Fit, a.Doubt)
	}
	for name, truth := range map[string]float64{"r1-r2": 0.00634, "r2-r3": 0.00598, "near": 0.07397, "far": 0.36570, "r1": 0.08433, "r2": 0.07310, "r3": 0.08337} {
		for _, e := range a.Elements {
			if e.Name != name || e.Rail != run.Loop {
				continue
			}
			if truth < e.Low || truth > e.High {
				t.Errorf("%s %s: %g is true, found %g to %g", e.Kind, name, truth, e.Low, e.High)
			}
			if want := map[string]assessment.Verdict{"r1-r2": assessment.Pass, "near": assessment.Pass, "far": assessment.Fail}[name]; want != "" && e.Verdict != want {
				t.Errorf("%s: %s", name, e.Verdict)
			}
		}
	}
}

// One of two readings over the plus of a bad joint has a wrong decimal point. It contradicts the
// good one, and excluding three good readings explains the rest as well as excluding it alone.
// Simulated by an independent program, which has the truth.
func TestOneWrongReadingIsNotThree(t *testing.T) {
	r, readings := stored(t, "slip")
	a, err := Make(r, readings)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range a.Readings {
		if x.Suspect != (x.Row == 13) {
			t.Errorf("row %d: suspect is %v", x.Row, x.Suspect)
		}
	}
	for _, e := range a.Elements {
		if e.Rail == run.Loop && e.Kind != run.KindSupply && (e.Name == "r2-r3") != (e.Verdict == assessment.Fail) {
			t.Errorf("%s %s: %s", e.Kind, e.Name, e.Verdict)
		}
		if truth := 0.06159624956560657; e.Name == "r2" && (truth < e.Low || truth > e.High) {
			t.Errorf("reel r2: %g is true, found %g to %g", truth, e.Low, e.High)
		}
	}
}

// The voltage over the minus of a joint of 63 mΩ, read in one step, was written with a wrong unit
// prefix (mV, V). It contradicts the pair voltages, and excluding either explains the rest, so
// that the joint neither fails nor passes. Simulated by an independent program.
func TestEitherReadingMayBeWrong(t *testing.T) {
	r, readings := stored(t, "contradiction")
	a, err := Make(r, readings)
	if err != nil {
		t.Fatal(err)
	}
	joint := loopOf(t, a, run.KindJoint, "ash-birch")
	if joint.Verdict != assessment.Unproven || joint.Low > 0.010 || joint.High < 0.060 {
		t.Errorf("%+v", joint)
	}
	said := findings(a)
	for _, want := range []string{"Either line 11 (birch.start- to ash.end-", "or line 5 (ash.end+ to ash.end-", "Undecided until then: joint ash-birch"} {
		if !strings.Contains(said, want) {
			t.Errorf("no %q in %s", want, said)
		}
	}
}

// A joint is open in its minus where almost no current would flow. Its resistance is unknown, but
// no sound joint has as much voltage across it. Simulated by an independent program.
func TestOpenWithoutCurrent(t *testing.T) {
	r, readings := stored(t, "silent")
	a, err := Make(r, readings)
	if err != nil {
		t.Fatal(err)
	}
	if e := loopOf(t, a, run.KindJoint, "birch-cedar"); !e.Open() || e.Verdict != assessment.Fail {
		t.Errorf("%+v", e)
	}
	if e := loopOf(t, a, run.KindJoint, "ash-birch"); e.Verdict != assessment.Pass {
		t.Errorf("%+v", e)
	}
}

// stored reads a run and its readings, simulated by an independent program.
func stored(t *testing.T, name string) (*run.Run, []reading.Reading) {
	t.Helper()
	r := runtest.Load(t, "testdata/"+name+".toml")
	file, err := os.Open("testdata/" + name + ".csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	set, err := csv.Parse(name+".csv", file, r)
	if err != nil {
		t.Fatal(err)
	}
	return r, set.Readings
}

// A joint's heat is that of its two conductors, each with its own current: in a ring they
// differ.
func TestHeatOfTwoConductors(t *testing.T) {
	r, readings := stored(t, "bad")
	est, err := estimate.Make(r, readings)
	if err != nil {
		t.Fatal(err)
	}
	unlike := 0
	for i, e := range est.Elements {
		if e.Rail != run.Loop || e.Kind != run.KindJoint && e.Kind != run.KindFeed {
			continue
		}
		plus, minus := est.Elements[i+1], est.Elements[i+2]
		if most := plus.Watts + minus.Watts; e.Watts > most*(1+1e-9) || e.Watts < math.Max(plus.Watts, minus.Watts) || e.Watts <= 0 {
			t.Errorf("%s %d: %g W, its conductors %g and %g", e.Kind, e.Index, e.Watts, plus.Watts, minus.Watts)
		}
		for _, one := range []estimate.Element{plus, minus} {
			if want := one.Amps * one.Amps * one.Ohms(one.Belief.Mean); math.Abs(one.Watts-want) > 1e-9 {
				t.Errorf("%s %d %s: %g W, not %g", e.Kind, e.Index, one.Rail, one.Watts, want)
			}
		}
		if e.Watts < 0.95*e.Amps*e.Amps*e.Ohms(e.Belief.Mean) {
			unlike++
		}
	}
	if unlike == 0 {
		t.Error("no joint's conductors carry unlike currents, so the test shows nothing")
	}
}

// truth is what a loop has, and what is to be said of it.
type truth struct {
	ohms    float64 // +Inf of an open one
	verdict assessment.Verdict
}

// assessedTruly returns the assessment of a stored case, of which no reading is wrong, and checks the loops
// whose truth is known. Of the steps only those given are assessed; none given: all.
func assessedTruly(t *testing.T, name string, loops map[string]truth, steps ...string) *assessment.Assessment {
	t.Helper()
	r, readings := stored(t, name)
	if len(steps) > 0 {
		readings = slices.DeleteFunc(readings, func(x reading.Reading) bool { return !slices.Contains(steps, x.Step) })
	}
	a, err := Make(r, readings)
	if err != nil {
		t.Fatal(err)
	}
	for i, x := range a.Readings {
		if x.Suspect {
			t.Errorf("reading %d is suspected", i)
		}
	}
	checked := 0
	for _, e := range a.Elements {
		want, known := loops[e.Name]
		if !known || e.Rail != run.Loop {
			continue
		}
		checked++
		if want.ohms < e.Low || want.ohms > e.High || e.Verdict != want.verdict || e.Open() != math.IsInf(want.ohms, 1) {
			t.Errorf("%s %s: %g is true, found %g to %g, %s; want %s", e.Kind, e.Name, want.ohms, e.Low, e.High, e.Verdict, want.verdict)
		}
	}
	if checked != len(loops) {
		t.Errorf("%d loops are there, %d have a known truth", checked, len(loops))
	}
	return a
}

// A joint with an open plus beside one with a bad minus, before a feed that is too thin: the readings over
// the open joint, and of what is behind it, look like eleven outliers while it is taken for sound.
// Simulated by an independent program, which has the truth.
func TestOpenThatLooksLikeOutliers(t *testing.T) {
	steps := []string{"white 25 %"}
	if everyCase() {
		steps = nil
	}
	assessedTruly(t, "masked", map[string]truth{
		"R1-R2": {0.00866, assessment.Pass}, "R2-R3": {0.00279, assessment.Pass}, "R3-R4": {0.02588, assessment.Fail},
		"R4-R5": {math.Inf(1), assessment.Fail}, "trunk": {0.03068, assessment.Pass}, "b1": {0.08236, assessment.Pass},
		"b2": {0.1032, assessment.Pass}, "bl": {0.2691, assessment.Fail}}, steps...)
}

// A meter that stayed on its range to 6 V has the errors of that range for small volts too, which its
// digits show; with those of the smallest range no resistances explain the readings. Simulated by an
// independent program, which has the truth.
func TestRangeKept(t *testing.T) {
	a := assessedTruly(t, "kept", map[string]truth{
		"R1-R2": {0.00505, assessment.Pass}, "R2-R3": {0.00796, assessment.Pass}, "R3-R4": {0.00390, assessment.Pass},
		"R4-R5": {0.00356, assessment.Pass}, "near": {0.13060, assessment.Pass}, "far": {0.11940, assessment.Pass}})
	if !slices.ContainsFunc(a.Findings, func(f assessment.Finding) bool {
		return strings.HasPrefix(f.Text, "Meter hand seems to have stayed on its range to 6 V (80 readings, lines 5 to 133).")
	}) {
		t.Errorf("findings: %+v", a.Findings)
	}
}

package table

import (
	"bytes"
	"io"
	"math"
	"regexp"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"ohmkeep/internal/advise/colourloss"
	"ohmkeep/internal/network/prediction"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/showtest"
	"ohmkeep/internal/show/wording"
)

// written returns what was written.
func written(t *testing.T, write func(io.Writer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func assessed(t *testing.T, a *assessment.Assessment) string {
	t.Helper()
	return written(t, func(w io.Writer) error { return Assessment(w, a, Style{}) })
}

// The golden files hold the example of a commissioning, and invented results for what
// does not come about there.
func TestGolden(t *testing.T) {
	a := showtest.Commissioning(t)
	cove, fitted := showtest.Seen(t, showtest.Cove), showtest.Spread(showtest.Seen(t, showtest.Cove))
	for name, write := range map[string]func(io.Writer) error{
		"commissioning.txt": func(w io.Writer) error { return Assessment(w, a, Style{}) },
		"assess.txt":        func(w io.Writer) error { return Assessment(w, showtest.Assessment(), Style{}) },
		"predict.txt":       func(w io.Writer) error { return Prediction(w, showtest.Prediction(), Style{}) },
		"colour.txt":        func(w io.Writer) error { return Colour(w, cove, Style{}) },
		"fitted.txt":        func(w io.Writer) error { return Colour(w, fitted, Style{}) },
		"plan.txt":          func(w io.Writer) error { return Plan(w, showtest.Schedule(), Style{}) },
		"drift.txt":         func(w io.Writer) error { return Drift(w, showtest.History(), Style{}) },
		"explain.txt":       func(w io.Writer) error { return Explanation(w, showtest.Explained(), assessment.Fit{}, Style{}) },
	} {
		text := written(t, write)
		showtest.Fits(t, text, usualColumns)
		showtest.Golden(t, name, []byte(text))
	}
}

func TestOpenHasNoSize(t *testing.T) {
	for _, ohms := range []float64{math.Inf(1), 5e9} {
		a := &assessment.Assessment{Elements: []assessment.Element{{Kind: run.KindJoint, Name: "a-b", Rail: run.Loop,
			Ohms: ohms, Low: 2.1, High: 8e9, Limit: 0.015, ProbabilityOverLimit: 1, Verdict: assessment.Fail, Known: true}}}
		if text := assessed(t, a); !strings.Contains(text, "open") || !strings.Contains(text, "2100 …      ∞") {
			t.Error(text)
		}
	}
}

// What does not conduct has no size and makes no heat, proven or not.
func TestNoSizeNorHeatOfWhatIsOpen(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		ohms, low, high, watts float64
		value, remark, says    string
	}{
		{inf, 48, inf, 240, "open", "", "joint a-b: UNPROVEN, open, at least 48000 mΩ, limit 15.0"},
		{75.3, 0, inf, 240, "open?", "", "joint a-b: UNPROVEN, perhaps open (0.00 … ∞ mΩ), limit 15.0"},
		{0.32, 0, inf, 0.4, "320.0", "0.4 W of heat at 2 A", "joint a-b: UNPROVEN, 320.0 mΩ (0.00 … ∞), limit 15.0"},
		{12, 0.2, 30, 0.4, "12000", "0.4 W of heat at 2 A", "joint a-b: UNPROVEN, 12000 mΩ (200.0 … 30000), limit 15.0"},
	} {
		e := assessment.Element{Kind: run.KindJoint, Name: "a-b", Rail: run.Loop, Ohms: c.ohms, Low: c.low, High: c.high,
			Limit: 0.015, ProbabilityOverLimit: 0.9, Verdict: assessment.Unproven, Known: true, Amps: 2, Watts: c.watts}
		if l := wording.LineOf(e); l.Value != c.value || l.Remark != c.remark {
			t.Errorf("%g Ω: %+v", c.ohms, l)
		}
		var b bytes.Buffer
		if err := Explanation(&b, &assessment.Explanation{Element: e}, assessment.Fit{}, Style{}); err != nil || !strings.HasPrefix(b.String(), c.says+"\n") {
			t.Errorf("%g Ω: %v\n%s", c.ohms, err, b.String())
		}
	}
	e := assessment.Element{Kind: run.KindJoint, Name: "a-b", Verdict: assessment.Fail}
	open := assessment.Part{Known: true, Ohms: inf, Low: 48, High: inf, Verdict: assessment.Fail}
	if got := withoutText(e, open); got != "open, at least 48000, still fail" {
		t.Error(got)
	}
}

func TestHostileInput(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1, 0} {
		text := assessed(t, showtest.Wrecked(showtest.Hostile, v))
		showtest.Fits(t, text, usualColumns)
		if strings.Contains(text, "NaN") || strings.Contains(text, "Inf") || strings.ContainsFunc(text, func(r rune) bool { return unicode.Is(unicode.Cf, r) }) {
			t.Errorf("with %v the table has NaN or Inf, or changes the writing direction:\n%s", v, text)
		}
	}
	p := showtest.Prediction()
	p.Run.Name, p.Step, p.Feeds[0].Name, p.Warnings[0] = showtest.Hostile, showtest.Hostile, showtest.Hostile, showtest.Hostile
	p.Reels[0].Pixels[0].Volts, p.Feeds[0].Ohms, p.Supplies[0].Amps = math.NaN(), math.Inf(1), math.NaN()
	text := written(t, func(w io.Writer) error { return Prediction(w, p, Style{}) })
	showtest.Fits(t, text, usualColumns)
	if strings.Contains(text, "NaN") {
		t.Error(text)
	}
}

func TestEmpty(t *testing.T) {
	if text := assessed(t, &assessment.Assessment{}); !strings.HasPrefix(text, "NOTHING JUDGED: ") {
		t.Error(text)
	}
	if err := Prediction(io.Discard, &prediction.Prediction{Reels: []prediction.Reel{{Name: "bare"}}}, Style{}); err != nil {
		t.Error(err)
	}
}

func TestColourIsOnlyAdded(t *testing.T) {
	var plain, coloured bytes.Buffer
	if err := Assessment(&plain, showtest.Assessment(), Style{}); err != nil {
		t.Fatal(err)
	}
	if err := Assessment(&coloured, showtest.Assessment(), Style{Colour: true}); err != nil {
		t.Fatal(err)
	}
	stripped := regexp.MustCompile("\x1b\\[[0-9;]*m").ReplaceAllString(coloured.String(), "")
	if stripped != plain.String() || stripped == coloured.String() {
		t.Error("the coloured table differs by more than its colours, or has none")
	}
}

func TestWriterErrorsAreTold(t *testing.T) {
	var w showtest.Broken
	for name, err := range map[string]error{
		"assessment": Assessment(w, showtest.Assessment(), Style{}), "prediction": Prediction(w, showtest.Prediction(), Style{}),
		"colour": Colour(w, showtest.Seen(t, showtest.Cove), Style{}), "plan": Plan(w, showtest.Schedule(), Style{}),
		"drift": Drift(w, showtest.History(), Style{}), "explanation": Explanation(w, showtest.Explained(), assessment.Fit{}, Style{}),
	} {
		if err == nil {
			t.Errorf("%s is silent", name)
		}
	}
}

// The first line says in words what changes.
func TestColourInWords(t *testing.T) {
	for _, c := range []struct {
		change  colourloss.Change
		verdict assessment.Verdict
		want    string
	}{
		{colourloss.DimmerOnly, assessment.Fail, "DIMMER ONLY, the colour holds: west 3 to 9, north 1 to 2"},
		{colourloss.ColourOnly, assessment.Fail, "OFF COLOUR ONLY, the brightness holds: west 3 to 9, north 1 to 2"},
		{colourloss.Both, assessment.Fail, "DIMMER AND OFF COLOUR: west 3 to 9, north 1 to 2"},
		{colourloss.Neither, assessment.Pass, "COLOUR AND BRIGHTNESS HOLD along the whole run"},
		{colourloss.Neither, assessment.Unproven, "not enough readings to be sure"},
	} {
		a := &colourloss.Appearance{Change: c.change, Verdict: c.verdict}
		if c.change != colourloss.Neither {
			a.Stretches = []colourloss.Stretch{{Reel: "west", From: 3, To: 5}, {Reel: "west", From: 6, To: 9}, {Reel: "north", From: 1, To: 2}}
		}
		if got := changed(a); !strings.Contains(got, c.want) {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
	apart := []colourloss.Stretch{{Reel: "west", From: 3, To: 5}, {Reel: "west", From: 8, To: 9}, {Reel: "west 2", From: 1, To: 2}}
	if got := placesText(apart); got != "west 3 to 5, west 8 to 9, west 2 1 to 2" {
		t.Error(got)
	}
}

// A white that turns bluer is cooler; one that hardly moves is not spoken of.
func TestSpotSaysHowWhiteTurns(t *testing.T) {
	a := showtest.Seen(t, showtest.Cove)
	for _, c := range []struct {
		from, to colourloss.White
		want     string
	}{
		{colourloss.White{Valid: true, Kelvin: 4000}, colourloss.White{Valid: true, Kelvin: 5000}, "turns cooler: from 4000 K"},
		{colourloss.White{Valid: true, Kelvin: 4000}, colourloss.White{Valid: true, Kelvin: 3000}, "turns warmer: from 4000 K"},
		{colourloss.White{Valid: true, Kelvin: 4000}, colourloss.White{}, "no longer white"},
	} {
		a.Worst.Whiteness, a.Worst.SeenAs = c.from, c.to
		if got := spotText(a); !strings.Contains(got, c.want) {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
	for _, to := range []colourloss.White{{Valid: true, Kelvin: 4001}, {Valid: false}} {
		a.Worst.Whiteness, a.Worst.SeenAs = colourloss.White{Valid: to.Valid, Kelvin: 4000}, to
		if got := spotText(a); strings.Contains(got, "white") {
			t.Error(got)
		}
	}
}

func TestColourIsPaintedByVerdict(t *testing.T) {
	var plain, painted bytes.Buffer
	a := showtest.Seen(t, showtest.Cove)
	if Colour(&plain, a, Style{}) != nil || Colour(&painted, a, Style{Colour: true}) != nil {
		t.Fatal("not written")
	}
	bare := strings.NewReplacer("\x1b[1;31m", "", "\x1b[0m", "").Replace(painted.String())
	if bare != plain.String() || painted.Len() == plain.Len() {
		t.Errorf("painted:\n%q", painted.String())
	}
}

func TestPlanTable(t *testing.T) {
	var b bytes.Buffer
	if err := Plan(&b, showtest.Schedule(), Style{}); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	for _, want := range []string{"2 readings, 2 points, 1 step: enough to decide 1 of 2 joints and feeds", "slower than walking", `Set step "white 12 %", then read`,
		"1         current through feed near with meter hand", "2         voltage from west.end+ to north.start+ with meter bench",
		"decided   joint west-north", "±1.20", "joint north-east stays unproven: its plus is parted. None of the finer"} {
		if !strings.Contains(strings.ReplaceAll(text, "\n", " "), want) && !strings.Contains(text, want) {
			t.Errorf("%q is missing in\n%s", want, text)
		}
	}
	for _, line := range strings.Split(text, "\n") {
		if utf8.RuneCountInString(line) > usualColumns {
			t.Errorf("too wide: %q", line)
		}
	}
}

func TestExplainText(t *testing.T) {
	var b bytes.Buffer
	if err := Explanation(&b, showtest.Explained(), assessment.Fit{}, Style{}); err != nil {
		t.Fatal(err)
	}
	text := strings.Join(strings.Fields(b.String()), " ")
	for _, want := range []string{"joint west-north: FAIL, 97.6 mΩ (94.9 … 100.4), limit 15.0", "the pair voltages either side of it (lines 4–6, 9): 60.0 … 130.0, unproven",
		`of these, those in step "white 12 %" (lines 4, 7): 60.0 … 130.0, still fail`, "all other voltages (lines 10, 11): nothing would be known",
		`is line 7 in step "white 12 %"; without it: 60.0`, "So no single reading decides.", "70 % noise and rounding"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in\n%s", want, b.String())
		}
	}
	x := showtest.Explained()
	x.Why, x.Advice = "The fit is in doubt.", "Disconnect the supply."
	x.Single.Share = 0.001
	x.Element.Ohms, x.Element.Low, x.Element.High = math.Inf(1), 2, math.Inf(1)
	b.Reset()
	if err := Explanation(&b, x, assessment.Fit{}, Style{}); err != nil || !strings.Contains(b.String(), "open, at least") || !strings.Contains(b.String(), "\nThe fit is in doubt.\nDisconnect the supply.\n") {
		t.Errorf("%v\n%s", err, b.String())
	}
	b.Reset()
	if err := Explanation(&b, &assessment.Explanation{Element: assessment.Element{Kind: run.KindFeed, Name: "far", Limit: math.NaN(), ProbabilityOverLimit: math.NaN()}}, assessment.Fit{}, Style{}); err != nil || !strings.Contains(b.String(), "No reading determines it.") {
		t.Errorf("%v\n%s", err, b.String())
	}
}

func TestDriftTable(t *testing.T) {
	var b bytes.Buffer
	if err := Drift(&b, showtest.History(), Style{}); err != nil {
		t.Fatal(err)
	}
	got := b.String()
	for _, want := range []string{"LOOK: joint west-north is drifting\n", "Run: Hall <b>", "drift since 2026-03-01 (2026-02-20 to 2026-03-12): 4.0 → 16.0 mΩ",
		"intermittent since 2026-04-10: rises by about 92.0 mΩ", "it is over its limit", "a sensor was replaced: 100.0 mΩ before, 100.0 after",
		"too few nights", "no temperature is read", "last check step 2026-06-30"} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
	if strings.Index(got, "drifting ") > strings.Index(got, "unproven ") || strings.Index(got, "unproven ") > strings.Index(got, "steady ") {
		t.Errorf("not the gravest first:\n%s", got)
	}
	for line := range strings.Lines(got) {
		if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > usualColumns {
			t.Errorf("%d columns: %s", n, line)
		}
	}
	// A run of which nothing is known is not called steady.
	h := showtest.History()
	h.Series = h.Series[2:]
	b.Reset()
	if err := Drift(&b, h, Style{}); err != nil || !strings.HasPrefix(b.String(), "UNPROVEN: not enough readings to decide: path west.start-east.end\n") || strings.Contains(b.String(), "no temperature") {
		t.Errorf("%v\n%s", err, b.String())
	}
	b.Reset()
	if err := Drift(&b, &history.History{Run: &run.Run{}}, Style{Colour: true}); err != nil || !strings.Contains(b.String(), "NOTHING TO FOLLOW") {
		t.Errorf("%v, %s", err, b.String())
	}
}

// Every table fits every width, and no word is cut in its middle where it need not be.
func TestEveryWidth(t *testing.T) {
	all := showtest.ColourAnswers(t)
	for _, columns := range []int{40, 41, 60, 72, 80, 100, 132, 200} {
		style := Style{Columns: columns}
		for name, write := range map[string]func(io.Writer) error{
			"assess":  func(w io.Writer) error { return Assessment(w, all.Assessment, style) },
			"other":   func(w io.Writer) error { return Assessment(w, showtest.Assessment(), style) },
			"explain": func(w io.Writer) error { return Explanation(w, all.Explanation, all.Assessment.Fit, style) },
			"predict": func(w io.Writer) error { return Prediction(w, showtest.Prediction(), style) },
			"colour":  func(w io.Writer) error { return Colour(w, showtest.Spread(showtest.Seen(t, showtest.Cove)), style) },
			"plan":    func(w io.Writer) error { return Plan(w, showtest.Schedule(), style) },
			"drift":   func(w io.Writer) error { return Drift(w, showtest.History(), style) },
			"repair":  func(w io.Writer) error { return Repair(w, all.Repairs, style) },
			"limit":   func(w io.Writer) error { return Limit(w, all.Loads, style) },
		} {
			text := written(t, write)
			showtest.Fits(t, text, columns)
			if name == "assess" && columns == minColumns {
				sameWords(t, text, written(t, func(w io.Writer) error { return Assessment(w, all.Assessment, Style{Columns: maxColumns}) }))
			}
		}
	}
}

// sameWords checks that a narrow text breaks no word that a wide one has.
func sameWords(t *testing.T, narrow, wide string) {
	t.Helper()
	known := map[string]bool{}
	for _, word := range strings.Fields(wide) {
		known[strings.Trim(word, ";")] = true
	}
	for _, word := range strings.Fields(narrow) {
		if !known[strings.Trim(word, ";")] {
			t.Errorf("%q is not a word of the wide table", word)
		}
	}
}

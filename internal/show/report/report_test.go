package report

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"ohmkeep/internal/network/prediction"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/chart/charttest"
)

var update = flag.Bool("update", false, "write the golden files anew")

var made = time.Date(2031, 3, 4, 17, 5, 0, 0, time.FixedZone("", 3600))

// short is the invented prediction with the first four pixels of every reel.
func short() *prediction.Prediction {
	p := charttest.Prediction()
	for i := range p.Reels {
		p.Reels[i].Pixels = p.Reels[i].Pixels[:4]
	}
	return p
}

var svg = regexp.MustCompile(`(?s)<svg .*?</svg>`)

// The golden files hold the invented run, as a person has read them over.
// Pictures are left out of the page: they have tests of their own.
func TestGolden(t *testing.T) {
	for name, write := range map[string]func(io.Writer) error{
		"assess.json":  func(w io.Writer) error { return AssessJSON(w, charttest.Assessment()) },
		"predict.json": func(w io.Writer) error { return PredictJSON(w, short()) },
		"assess.txt":   func(w io.Writer) error { return AssessTable(w, charttest.Assessment(), false) },
		"predict.txt":  func(w io.Writer) error { return PredictTable(w, charttest.Prediction()) },
		"page.html": func(w io.Writer) error {
			var b bytes.Buffer
			if err := HTML(&b, charttest.Assessment(), Options{Made: made}); err != nil {
				return err
			}
			_, err := w.Write(svg.ReplaceAll(b.Bytes(), []byte("<svg/>")))
			return err
		},
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatal(err)
		}
		got := b.Bytes()
		if strings.HasSuffix(name, ".json") {
			var lines bytes.Buffer
			if err := json.Indent(&lines, got, "", " "); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			got = lines.Bytes()
		}
		file := filepath.Join("testdata", name)
		if *update {
			if err := os.WriteFile(file, got, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s differs from its golden file; see with go test -update and git diff. Got:\n%s", name, got)
		}
	}
}

func decode(t *testing.T, write func(io.Writer) error) map[string]any {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	var out map[string]any
	if err := json.Unmarshal(b.Bytes(), &out); err != nil {
		t.Fatalf("%v in %s", err, b.String())
	}
	return out
}

func assessed(t *testing.T, a *assessment.Assessment) map[string]any {
	t.Helper()
	return decode(t, func(w io.Writer) error { return AssessJSON(w, a) })
}

// has checks that an object has keys, and how many there are.
func has(t *testing.T, what string, got any, keys ...string) {
	t.Helper()
	object, ok := got.(map[string]any)
	if !ok {
		t.Fatalf("%s is %T", what, got)
	}
	for _, k := range keys {
		if _, ok := object[k]; !ok {
			t.Errorf("%s has no %q", what, k)
		}
	}
	if len(object) != len(keys) {
		t.Errorf("%s has %d keys, want %d: %v", what, len(object), len(keys), object)
	}
}

// The keys are those that other programs read; they may not change.
func TestKeysOfJSON(t *testing.T) {
	a := assessed(t, charttest.Assessment())
	has(t, "assess", a, "schema", "run", "fit", "elements", "readings", "next", "findings")
	has(t, "fit", a["fit"], "converged", "chi_squared", "degrees_of_freedom", "p_value")
	elements := a["elements"].([]any)
	has(t, "supply", elements[0], "kind", "name", "rail", "milliohms", "low", "high", "known", "amps", "watts")
	has(t, "feed", elements[2], "kind", "name", "rail", "milliohms", "low", "high", "limit_milliohms", "probability_over_limit", "verdict", "known", "like", "amps", "watts")
	has(t, "reel", elements[3], "kind", "name", "rail", "milliohms_per_metre", "low", "high", "limit_milliohms_per_metre", "limit_milliohms", "probability_over_limit", "verdict", "known", "amps", "watts")
	joint := elements[6].(map[string]any)
	has(t, "joint", joint, "kind", "name", "rail", "milliohms", "low", "high", "limit_milliohms", "probability_over_limit", "verdict", "known", "amps", "watts")
	if joint["milliohms"] != 97.6 || joint["low"] != 94.9 || joint["high"] != 100.4 || joint["limit_milliohms"] != 15.0 || joint["verdict"] != "fail" {
		t.Errorf("joint: %v", joint)
	}
	unknown := elements[9].(map[string]any)
	if unknown["high"] != nil || unknown["low"] != 0.0 || unknown["milliohms"] != 3.0 || unknown["known"] != false {
		t.Errorf("a joint that nobody can know: %v", unknown)
	}
	readings := a["readings"].([]any)
	has(t, "reading", readings[0], "row", "predicted", "residual", "standardised", "suspect", "used")
	has(t, "suspect", readings[7], "row", "predicted", "residual", "standardised", "suspect", "used", "note")
	has(t, "next", a["next"].([]any)[0], "quantity", "from", "to", "step", "meter", "settles")
	has(t, "finding", a["findings"].([]any)[0], "severity", "subject", "text")

	p := decode(t, func(w io.Writer) error { return PredictJSON(w, charttest.Prediction()) })
	has(t, "predict", p, "schema", "run", "step", "supplies", "feeds", "joints", "reels", "warnings")
	has(t, "supply", p["supplies"].([]any)[0], "name", "volts", "amps")
	has(t, "feed", p["feeds"].([]any)[0], "name", "amps", "drop_volts", "milliohms")
	reel := p["reels"].([]any)[1].(map[string]any)
	has(t, "reel", reel, "name", "pixels")
	pixel := reel["pixels"].([]any)[299]
	has(t, "pixel", pixel, "pixel", "volts", "plus", "minus", "milliamps")
	if got := pixel.(map[string]any); got["pixel"] != 300.0 || got["milliamps"] != 2.6 {
		t.Errorf("the last pixel: %v", got)
	}
}

func TestOpenIsNull(t *testing.T) {
	for _, ohms := range []float64{math.Inf(1), 5e9} {
		a := &assessment.Assessment{Elements: []assessment.Element{{Kind: assessment.Joint, Name: "a-b", Rail: assessment.Loop,
			Ohms: ohms, Low: 2.1, High: 8e9, Limit: 0.015, Over: 1, Verdict: assessment.Fail, Known: true}}}
		e := assessed(t, a)["elements"].([]any)[0].(map[string]any)
		for _, key := range []string{"milliohms", "high"} {
			if v, ok := e[key]; !ok || v != nil {
				t.Errorf("%s of an open joint is %v", key, v)
			}
		}
		if e["low"] != 2100.0 {
			t.Errorf("low of an open joint is %v", e["low"])
		}
		var b bytes.Buffer
		if err := AssessTable(&b, a, false); err != nil || !strings.Contains(b.String(), "open") || !strings.Contains(b.String(), "2100 …       ∞") {
			t.Errorf("%v\n%s", err, b.String())
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
		e := assessment.Element{Kind: assessment.Joint, Name: "a-b", Rail: assessment.Loop, Ohms: c.ohms, Low: c.low, High: c.high,
			Limit: 0.015, Over: 0.9, Verdict: assessment.Unproven, Known: true, Amps: 2, Watts: c.watts}
		if l := lineOf(e); l.Value != c.value || l.Remark != c.remark {
			t.Errorf("%g Ω: %+v", c.ohms, l)
		}
		var b bytes.Buffer
		if err := ExplainText(&b, &assessment.Explanation{Element: e}, false); err != nil || !strings.HasPrefix(b.String(), c.says+"\n") {
			t.Errorf("%g Ω: %v\n%s", c.ohms, err, b.String())
		}
	}
	e := assessment.Element{Kind: assessment.Joint, Name: "a-b", Rail: assessment.Loop, Limit: 0.015, Verdict: assessment.Fail, Known: true, Ohms: 75.3, Low: 0.2, High: inf}
	if got := mend(&assessment.Assessment{}, e).Text; got != "Remake joint a-b: it may be open (95 % interval 200.0 … ∞ mΩ) where 15.0 is the most." {
		t.Error(got)
	}
	e.Known, e.Over = false, 0.99
	if got := lineOf(e).Over; got != "" {
		t.Errorf("what is assumed is over its limit with %s", got)
	}
	open := assessment.Part{Known: true, Ohms: inf, Low: 48, High: inf, Verdict: assessment.Fail}
	if got := withoutText(e, open); got != "without open, at least 48000, still fail" {
		t.Error(got)
	}
}

func TestNumbersKeepSevenDigits(t *testing.T) {
	for v, want := range map[float64]string{4.81234567: "4.812346", 0.0976 * 1000: "97.6", 1e-9: "1e-09", 123456789: "1.234568e+08",
		math.NaN(): "null", math.Inf(-1): "null", 100: "100", math.Copysign(0, -1): "0"} {
		if got := string(appendNumber(nil, v)); got != want {
			t.Errorf("%v became %s, want %s", v, got, want)
		}
		if !json.Valid(appendNumber(nil, v)) {
			t.Errorf("%v is not JSON", v)
		}
	}
}

// wrecked gives the invented assessment with every number and name spoilt.
func wrecked(name string, v float64) *assessment.Assessment {
	a := charttest.Assessment()
	a.Run.Name, a.Run.Reels[0].Name, a.Run.Meters[0].Name, a.Run.Steps[1].Name = name, name, name, name
	a.Run.Ambient = v
	a.Fit = assessment.Fit{ChiSquared: v, PValue: v}
	a.Run.Meters[0].Ranges[0] = run.Range{Quantity: run.Voltage, UpTo: v, Resolution: v, Fraction: v, Counts: v}
	a.Run.Limits = run.Limits{JointOhms: v, FeedDrop: v, FeedExcess: v, ConnectorOhms: v, ReelExcess: v, DesignStep: 1}
	for i := range a.Elements {
		e := &a.Elements[i]
		e.Name, e.Like, e.Ohms, e.Low, e.High, e.Limit, e.Over, e.Amps, e.Watts = name, name, v, v, v, v, v, v, v
	}
	for i := range a.Readings {
		r := &a.Readings[i]
		r.From, r.To, r.Step, r.Text, r.Unit, r.Note = name, name, name, name, name, name
		r.Value, r.Predicted, r.Residual, r.Standardised = v, v, v, v
		r.Suspect = i%2 == 0
	}
	a.Next[0] = assessment.Next{From: name, To: name, Step: name, Settles: []string{name, name}}
	for i := range a.Findings {
		a.Findings[i].Subject, a.Findings[i].Text = name, name
	}
	for _, p := range a.Profiles {
		p.Reels[0].Plus[3] = v
	}
	return a
}

const hostile = "<script>alert(1)</script>\x1b[2J\x00\r\n\"'&{{.}}\u202e日本語"

func TestHostileInput(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1, 0} {
		a := wrecked(hostile, v)
		if got := assessed(t, a)["run"]; got != strings.ToValidUTF8(hostile, "�") {
			t.Errorf("JSON changed a name to %q", got)
		}
		var table, page bytes.Buffer
		if err := AssessTable(&table, a, false); err != nil {
			t.Fatal(err)
		}
		for _, l := range strings.Split(table.String(), "\n") {
			if utf8.RuneCountInString(l) > 80 {
				t.Errorf("with %v: %d columns: %s", v, utf8.RuneCountInString(l), l)
			}
			if strings.ContainsFunc(l, func(r rune) bool { return unicode.IsControl(r) || unicode.Is(unicode.Cf, r) }) {
				t.Errorf("control characters in %q", l)
			}
		}
		if err := HTML(&page, a, Options{}); err != nil {
			t.Fatal(err)
		}
		for _, bad := range []string{"<script", "\x1b", "\x00", "\u202e", "NaN", "Inf", "ZgotmplZ"} {
			if strings.Contains(page.String(), bad) {
				t.Errorf("with %v the page contains %q", v, bad)
			}
		}
		if strings.Contains(table.String(), "NaN") || strings.Contains(table.String(), "Inf") {
			t.Errorf("with %v the table has a number that is none", v)
		}
	}
	p := charttest.Prediction()
	p.Run.Name, p.Step, p.Feeds[0].Name, p.Warnings[0] = hostile, hostile, hostile, hostile
	p.Reels[0].Pixels[0].Volts, p.Feeds[0].Ohms, p.Supplies[0].Amps = math.NaN(), math.Inf(1), math.NaN()
	decode(t, func(w io.Writer) error { return PredictJSON(w, p) })
	var b bytes.Buffer
	if err := PredictTable(&b, p); err != nil || strings.ContainsAny(b.String(), "\x1b\x00\r") || strings.Contains(b.String(), "NaN") {
		t.Errorf("%v\n%s", err, b.String())
	}
}

func TestEmpty(t *testing.T) {
	a := assessed(t, &assessment.Assessment{})
	for _, key := range []string{"elements", "readings", "next", "findings"} {
		if l, ok := a[key].([]any); !ok || len(l) != 0 {
			t.Errorf("%s of nothing is %v", key, a[key])
		}
	}
	var table, page bytes.Buffer
	if err := AssessTable(&table, &assessment.Assessment{}, true); err != nil || !strings.HasPrefix(table.String(), "NOTHING JUDGED: ") {
		t.Errorf("%v\n%s", err, table.String())
	}
	if err := HTML(&page, &assessment.Assessment{}, Options{}); err != nil || !strings.Contains(page.String(), "NOTHING JUDGED") || !strings.HasSuffix(page.String(), "</html>\n") {
		t.Errorf("%v\n%s", err, page.String())
	}
	p := decode(t, func(w io.Writer) error { return PredictJSON(w, &prediction.Prediction{}) })
	if l, ok := p["warnings"].([]any); !ok || len(l) != 0 {
		t.Errorf("no warnings are %v", p["warnings"])
	}
	if err := PredictTable(io.Discard, &prediction.Prediction{Reels: []prediction.Reel{{Name: "bare"}}}); err != nil {
		t.Error(err)
	}
}

func TestHeadline(t *testing.T) {
	element := func(name string, v assessment.Verdict) assessment.Element {
		return assessment.Element{Kind: assessment.Joint, Name: name, Rail: assessment.Loop, Ohms: 1, Limit: 1, Verdict: v, Known: true}
	}
	both := element("a", assessment.Fail)
	both.Rail = assessment.Plus
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
		{"FAIL: 1 of 2 — joint a; unproven: joint b", []assessment.Element{element("b", assessment.Unproven), element("a", assessment.Fail)}},
		{"UNPROVEN: 9 of 9 — joint 0, joint 1, joint 2, joint 3 and 5 more", many},
	} {
		got, verdict := headline(&assessment.Assessment{Elements: c.elements})
		if got != c.want || !strings.HasPrefix(got, strings.ToUpper(string(verdict))) {
			t.Errorf("got  %s (%s)\nwant %s", got, verdict, c.want)
		}
	}
}

func TestWorstFirstLeavesItsInput(t *testing.T) {
	a := charttest.Assessment()
	got := WorstFirst(a.Elements)
	if a.Elements[0].Kind != assessment.Supply {
		t.Error("the input was sorted")
	}
	for i := 1; i < len(got); i++ {
		if grave(got[i-1].Verdict) < grave(got[i].Verdict) {
			t.Errorf("%s before %s", got[i-1].Verdict, got[i].Verdict)
		}
	}
	if got[0].Name != "west-north" || got[0].Rail != assessment.Loop || got[2].Name != "far" { // 6.5 times its limit before 1.2 times
		t.Errorf("first is %s %s, third %s", got[0].Name, got[0].Rail, got[2].Name)
	}
}

func TestColourIsOnlyAdded(t *testing.T) {
	var plain, coloured bytes.Buffer
	if err := AssessTable(&plain, charttest.Assessment(), false); err != nil {
		t.Fatal(err)
	}
	if err := AssessTable(&coloured, charttest.Assessment(), true); err != nil {
		t.Fatal(err)
	}
	stripped := regexp.MustCompile("\x1b\\[[0-9;]*m").ReplaceAllString(coloured.String(), "")
	if stripped != plain.String() || stripped == coloured.String() {
		t.Error("the coloured table differs by more than its colours, or has none")
	}
}

// A million pixels must not take a million objects.
func TestManyPixels(t *testing.T) {
	p := &prediction.Prediction{Reels: []prediction.Reel{{Name: "long", Pixels: make([]prediction.Pixel, 1_000_000)}}}
	var n counter
	objects := testing.AllocsPerRun(1, func() {
		n = 0
		if err := PredictJSON(&n, p); err != nil {
			t.Fatal(err)
		}
	})
	if objects > 100_000 || n < 50_000_000 {
		t.Errorf("%d bytes, %.0f objects", n, objects)
	}
}

type counter int

func (c *counter) Write(b []byte) (int, error) { *c += counter(len(b)); return len(b), nil }

type broken struct{}

func (broken) Write([]byte) (int, error) { return 0, os.ErrClosed }

func TestWriterErrorsAreTold(t *testing.T) {
	a, p := charttest.Assessment(), short()
	for name, err := range map[string]error{
		"AssessJSON": AssessJSON(broken{}, a), "AssessTable": AssessTable(broken{}, a, false), "PredictJSON": PredictJSON(broken{}, p),
		"PredictTable": PredictTable(broken{}, p), "HTML": HTML(broken{}, a, Options{}),
	} {
		if err == nil {
			t.Errorf("%s is silent", name)
		}
	}
}

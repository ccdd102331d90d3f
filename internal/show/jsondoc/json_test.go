package jsondoc

import (
	"bytes"
	"encoding/json"
	"io"
	"math"
	"strings"
	"testing"

	"ohmkeep/internal/network/prediction"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/showtest"
)

// The golden files hold invented results, as a person has read them over.
func TestGolden(t *testing.T) {
	for name, write := range map[string]func(io.Writer) error{
		"assess.json":  func(w io.Writer) error { return Assessment(w, showtest.Assessment(), nil) },
		"predict.json": func(w io.Writer) error { return Prediction(w, showtest.Short()) },
		"colour.json":  func(w io.Writer) error { return Colour(w, showtest.Seen(t, showtest.Cove)) },
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatal(err)
		}
		showtest.Golden(t, name, b.Bytes())
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
	return decode(t, func(w io.Writer) error { return Assessment(w, a, nil) })
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
func TestKeys(t *testing.T) {
	a := assessed(t, showtest.Assessment())
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
		t.Errorf("a joint that cannot be known: %v", unknown)
	}
	readings := a["readings"].([]any)
	has(t, "reading", readings[0], "row", "predicted", "residual", "standardised", "suspect", "used")
	has(t, "suspect", readings[7], "row", "predicted", "residual", "standardised", "suspect", "used", "note")
	has(t, "next", a["next"].([]any)[0], "quantity", "from", "to", "step", "meter", "settles")
	has(t, "finding", a["findings"].([]any)[0], "severity", "subject", "text")

	p := decode(t, func(w io.Writer) error { return Prediction(w, showtest.Prediction()) })
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
		a := &assessment.Assessment{Elements: []assessment.Element{{Kind: run.KindJoint, Name: "a-b", Rail: run.Loop,
			Ohms: ohms, Low: 2.1, High: 8e9, Limit: 0.015, ProbabilityOverLimit: 1, Verdict: assessment.Fail, Known: true}}}
		e := assessed(t, a)["elements"].([]any)[0].(map[string]any)
		for _, key := range []string{"milliohms", "high"} {
			if v, ok := e[key]; !ok || v != nil {
				t.Errorf("%s of an open joint is %v", key, v)
			}
		}
		if e["low"] != 2100.0 {
			t.Errorf("low of an open joint is %v", e["low"])
		}
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

func TestHostileInput(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1, 0} {
		if got := assessed(t, showtest.Wrecked(showtest.Hostile, v))["run"]; got != strings.ToValidUTF8(showtest.Hostile, "\uFFFD") {
			t.Errorf("JSON changed a name to %q", got)
		}
	}
	p := showtest.Prediction()
	p.Run.Name, p.Step, p.Feeds[0].Name, p.Warnings[0] = showtest.Hostile, showtest.Hostile, showtest.Hostile, showtest.Hostile
	p.Reels[0].Pixels[0].Volts, p.Feeds[0].Ohms, p.Supplies[0].Amps = math.NaN(), math.Inf(1), math.NaN()
	decode(t, func(w io.Writer) error { return Prediction(w, p) })
}

func TestEmpty(t *testing.T) {
	a := assessed(t, &assessment.Assessment{})
	for _, key := range []string{"elements", "readings", "next", "findings"} {
		if l, ok := a[key].([]any); !ok || len(l) != 0 {
			t.Errorf("%s of nothing is %v", key, a[key])
		}
	}
	p := decode(t, func(w io.Writer) error { return Prediction(w, &prediction.Prediction{}) })
	if l, ok := p["warnings"].([]any); !ok || len(l) != 0 {
		t.Errorf("no warnings are %v", p["warnings"])
	}
}

// A million pixels must not take a million objects.
func TestManyPixels(t *testing.T) {
	p := &prediction.Prediction{Reels: []prediction.Reel{{Name: "long", Pixels: make([]prediction.Pixel, 100_000)}}}
	var n counter
	objects := testing.AllocsPerRun(1, func() {
		n = 0
		if err := Prediction(&n, p); err != nil {
			t.Fatal(err)
		}
	})
	if objects > 10_000 || n < 5_000_000 {
		t.Errorf("%d bytes, %.0f objects", n, objects)
	}
}

type counter int

func (c *counter) Write(b []byte) (int, error) { *c += counter(len(b)); return len(b), nil }

func TestWriterErrorsAreTold(t *testing.T) {
	var w showtest.Broken
	for name, err := range map[string]error{
		"assess": Assessment(w, showtest.Assessment(), nil), "predict": Prediction(w, showtest.Short()), "colour": Colour(w, showtest.Seen(t, showtest.Cove)),
	} {
		if err == nil {
			t.Errorf("%s is silent", name)
		}
	}
}

// Shares of the JSON add up to its worst pixel, and darkness is null, not NaN.
func TestColourAddsUp(t *testing.T) {
	got := decode(t, func(w io.Writer) error { return Colour(w, showtest.Seen(t, showtest.Cove)) })
	sum := 0.0
	for _, s := range got["shares"].([]any) {
		sum += s.(map[string]any)["colour_shift"].(map[string]any)["value"].(float64)
	}
	worst := got["worst"].(map[string]any)["colour_shift"].(map[string]any)["value"].(float64)
	if math.Abs(sum-worst) > 1e-5 || worst <= 0.004 {
		t.Errorf("shares add up to %g, the worst pixel has %g", sum, worst)
	}
	a := showtest.Seen(t, showtest.Cove)
	a.Reels[0].Pixels[0].Light.X, a.Reels[0].Pixels[0].Light.Y, a.Reels[0].Pixels[0].Light.Z = 0, 0, 0
	dark := decode(t, func(w io.Writer) error { return Colour(w, a) })
	pixel := dark["reels"].([]any)[0].(map[string]any)["pixels"].([]any)[0].(map[string]any)
	if pixel["u"] != nil {
		t.Errorf("a dark pixel has u = %v", pixel["u"])
	}
}

func TestKeysOfPlan(t *testing.T) {
	p := decode(t, func(w io.Writer) error { return Plan(w, showtest.Schedule()) })
	has(t, "plan", p, "schema", "run", "meters", "order", "steps", "points", "readings", "rounds", "elements", "warnings")
	round := p["rounds"].([]any)[0].(map[string]any)
	has(t, "round", round, "step", "read")
	has(t, "reading", round["read"].([]any)[0], "quantity", "from", "to", "meter")
	elements := p["elements"].([]any)
	has(t, "settled", elements[0], "kind", "name", "limit_milliohms", "stated_milliohms", "amps", "settled", "resolves_milliohms", "best_milliohms")
	has(t, "open", elements[1], "kind", "name", "limit_milliohms", "stated_milliohms", "amps", "settled", "resolves_milliohms", "best_milliohms", "why", "helps")
	if open := elements[1].(map[string]any); open["limit_milliohms"] != nil || open["resolves_milliohms"] != nil || open["settled"] != false {
		t.Errorf("%v", open)
	}
}

func TestDrift(t *testing.T) {
	var b bytes.Buffer
	if err := Drift(&b, showtest.History()); err != nil {
		t.Fatal(err)
	}
	var got struct {
		Schema int
		Run    string
		Series []map[string]any
	}
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	if got.Schema != 1 || got.Run != "Hall <b>" || len(got.Series) != 3 {
		t.Fatalf("%+v", got)
	}
	near, joint, path := got.Series[0], got.Series[1], got.Series[2]
	for key, want := range map[string]any{"kind": "feed", "name": "near", "rail": "loop", "milliohms": 104.9, "low": 104.1, "high": 105.7,
		"milliohms_per_year": 1.2, "per_year_low": 0.1, "per_year_high": 2.3, "verdict": "steady", "first": "2026-03-01T03:30:00Z", "limit_milliohms": 140.0} {
		if near[key] != want {
			t.Errorf("%s is %v, not %v", key, near[key], want)
		}
	}
	if reaches := near["reaches_limit"].(map[string]any); reaches["likely"] != nil || reaches["text"] != "not within 10 years" {
		t.Errorf("%v", reaches)
	}
	change := joint["changes"].([]any)[0].(map[string]any)
	if change["shape"] != "ramp" || change["before"] != 4.0 || change["after"] != 16.0 || change["time"] != "2026-03-01T03:30:00Z" {
		t.Errorf("%v", change)
	}
	if path["milliohms"] != nil || path["high"] != nil || path["per_year_low"] != nil || len(path["changes"].([]any)) != 0 {
		t.Errorf("%v", path)
	}
	if _, has := path["limit_milliohms"]; has {
		t.Error("an element without a limit has one")
	}
}

// Every document decodes into its type, key by key, and gives the same text again.
func TestDocumentsDecode(t *testing.T) {
	all := showtest.ColourAnswers(t)
	for _, c := range []struct {
		into  any
		write func(io.Writer) error
	}{
		{&AssessDoc{}, func(w io.Writer) error { return Assessment(w, all.Assessment, all.Explanation) }},
		{&PredictDoc{}, func(w io.Writer) error { return Prediction(w, showtest.Short()) }},
		{&ColourDoc{}, func(w io.Writer) error { return Colour(w, showtest.Spread(showtest.Seen(t, showtest.Cove))) }},
		{&DriftDoc{}, func(w io.Writer) error { return Drift(w, showtest.History()) }},
		{&PlanDoc{}, func(w io.Writer) error { return Plan(w, showtest.Schedule()) }},
		{&RepairsDoc{}, func(w io.Writer) error { return Repairs(w, all.Repairs) }},
		{&LimitsDoc{}, func(w io.Writer) error { return Limits(w, all.Loads) }},
	} {
		var written, again bytes.Buffer
		if err := c.write(&written); err != nil {
			t.Fatal(err)
		}
		strict := json.NewDecoder(bytes.NewReader(written.Bytes()))
		strict.DisallowUnknownFields()
		if err := strict.Decode(c.into); err != nil {
			t.Errorf("%T: %v", c.into, err)
			continue
		}
		if err := write(&again, "again", c.into); err != nil || again.String() != written.String() {
			t.Errorf("%T: %v: written\n%s\nand again\n%s", c.into, err, written.String(), again.String())
		}
	}
}

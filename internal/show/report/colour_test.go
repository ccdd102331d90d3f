package report

import (
	"bytes"
	"encoding/json"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"ohmkeep/internal/advise/colourloss"
	"ohmkeep/internal/advise/interval"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run/runfile"
)

// cove is an invented run of three short reels that starves.
const cove = `schema = 1
name = "Cove"
[strip]
volts = 5.0
pixels_per_metre = 2
channel_milliamps = 400
idle_milliamps = 5
loop_milliohms_per_metre = 80.0
[[supply]]
name = "A"
volts = 5.1
amps = 20
milliohms = 5
[[reel]]
name = "west"
metres = 2.0
[[reel]]
name = "north"
metres = 2.0
[[joint]]
between = ["west", "north"]
milliohms = 60
[[feed]]
name = "near"
from = "A"
to = "west.start"
metres = 2.4
conductor = "18 AWG"
[[step]]
name = "white"
red = 1
green = 1
blue = 1
[limits]
design_step = "white"
`

func seen(t *testing.T, src string) *colourloss.Appearance {
	t.Helper()
	r, err := runfile.Parse("cove.toml", []byte(src))
	if err != nil {
		t.Fatal(err)
	}
	a, err := colourloss.Make(r, 0, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// spread gives an appearance the intervals that readings would give it.
func spread(a *colourloss.Appearance) *colourloss.Appearance {
	a.Fitted = true
	widen := func(k *interval.Interval) {
		half := 0.1 * math.Abs(k.Value)
		k.Low, k.High = k.Value-half, k.Value+half
	}
	for _, k := range []*interval.Interval{&a.Worst.Volts, &a.Worst.Shift, &a.Worst.Dimming} {
		widen(k)
	}
	for i := range a.Shares {
		for _, k := range []*interval.Interval{&a.Shares[i].Volts, &a.Shares[i].Shift, &a.Shares[i].Dimming} {
			widen(k)
		}
	}
	return a
}

// The golden files hold an invented run, as a person has read them over.
func TestColourGolden(t *testing.T) {
	a := seen(t, cove)
	fitted := spread(seen(t, cove))
	for name, write := range map[string]func(io.Writer) error{
		"colour.txt":  func(w io.Writer) error { return ColourTable(w, a, false) },
		"fitted.txt":  func(w io.Writer) error { return ColourTable(w, fitted, false) },
		"colour.json": func(w io.Writer) error { return ColourJSON(w, a) },
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
		for line := range strings.Lines(string(got)) {
			if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > tableWidth && strings.HasSuffix(name, ".txt") {
				t.Errorf("%s: %d columns: %s", name, n, line)
			}
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
		{colourloss.Neither, assessment.Unproven, "leave room for more"},
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
	a := seen(t, cove)
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

func TestCause(t *testing.T) {
	for _, c := range []struct {
		share colourloss.Share
		want  string
	}{
		{colourloss.Share{Kind: assessment.Reel}, "the reels' copper"},
		{colourloss.Share{Kind: assessment.Supply, Names: []string{"A"}}, "trim of supply A"},
		{colourloss.Share{Kind: assessment.Joint, Names: []string{"a-b"}}, "joint a-b"},
		{colourloss.Share{Kind: assessment.Joint, Names: []string{"a-b", "b-c"}}, "2 other joints"},
		{colourloss.Share{Kind: assessment.Supply, Names: []string{"a", "b", "c"}}, "3 other supplies"},
	} {
		if got := Cause(c.share); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

// Shares of the JSON add up to its worst pixel, and darkness is null, not NaN.
func TestColourJSONAddsUp(t *testing.T) {
	got := decode(t, func(w io.Writer) error { return ColourJSON(w, seen(t, cove)) })
	sum := 0.0
	for _, s := range got["shares"].([]any) {
		sum += s.(map[string]any)["colour_shift"].(map[string]any)["value"].(float64)
	}
	worst := got["worst"].(map[string]any)["colour_shift"].(map[string]any)["value"].(float64)
	if math.Abs(sum-worst) > 1e-5 || worst <= 0.004 {
		t.Errorf("shares add up to %g, the worst pixel has %g", sum, worst)
	}
	a := seen(t, cove)
	a.Reels[0].Pixels[0].Light.X, a.Reels[0].Pixels[0].Light.Y, a.Reels[0].Pixels[0].Light.Z = 0, 0, 0
	dark := decode(t, func(w io.Writer) error { return ColourJSON(w, a) })
	pixel := dark["reels"].([]any)[0].(map[string]any)["pixels"].([]any)[0].(map[string]any)
	if pixel["u"] != nil {
		t.Errorf("a dark pixel has u = %v", pixel["u"])
	}
	for _, write := range []func(io.Writer) error{
		func(w io.Writer) error { return ColourJSON(w, a) },
		func(w io.Writer) error { return ColourTable(w, a, false) },
	} {
		if write(broken{}) == nil {
			t.Error("a broken writer is not told")
		}
	}
}

func TestColourIsPaintedByVerdict(t *testing.T) {
	var plain, painted bytes.Buffer
	a := seen(t, cove)
	if ColourTable(&plain, a, false) != nil || ColourTable(&painted, a, true) != nil {
		t.Fatal("not written")
	}
	bare := strings.NewReplacer("\x1b[1;31m", "", "\x1b[0m", "").Replace(painted.String())
	if bare != plain.String() || painted.Len() == plain.Len() {
		t.Errorf("painted:\n%q", painted.String())
	}
}

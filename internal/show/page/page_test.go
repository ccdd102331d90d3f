package page

import (
	"bytes"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/show/showtest"
)

var made = time.Date(2031, 3, 4, 17, 5, 0, 0, time.FixedZone("", 3600))

func written(t *testing.T, write func(io.Writer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// The golden pages hold the example of a commissioning, and an invented history.
func TestGolden(t *testing.T) {
	o := Options{Made: made, Program: "1.2.3"}
	text := written(t, func(w io.Writer) error { return Assessment(w, showtest.Commissioning(t), o) })
	showtest.Golden(t, "commissioning.html", []byte(text))
	text = written(t, func(w io.Writer) error { return Drift(w, showtest.History(), o) })
	showtest.Golden(t, "drift.html", []byte(text))
}

func TestHostileInput(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1, 0} {
		text := written(t, func(w io.Writer) error { return Assessment(w, showtest.Wrecked(showtest.Hostile, v), Options{}) })
		for _, bad := range []string{"<script", "\x1b", "\x00", "\u202e", "NaN", "Inf", "ZgotmplZ"} {
			if strings.Contains(text, bad) {
				t.Errorf("with %v the page contains %q", v, bad)
			}
		}
	}
}

func TestEmpty(t *testing.T) {
	text := written(t, func(w io.Writer) error { return Assessment(w, &assessment.Assessment{}, Options{}) })
	if !strings.Contains(text, "NOTHING JUDGED") || !strings.HasSuffix(text, "</html>\n") {
		t.Error(text)
	}
}

func TestWriterErrorsAreTold(t *testing.T) {
	if Assessment(showtest.Broken{}, showtest.Assessment(), Options{}) == nil || Drift(showtest.Broken{}, showtest.History(), Options{}) == nil {
		t.Error("a page is silent")
	}
}

func TestDriftHTML(t *testing.T) {
	var b bytes.Buffer
	if err := Drift(&b, showtest.History(), Options{}); err != nil {
		t.Fatal(err)
	}
	got := b.String()
	if n := strings.Count(got, "<svg "); n != 6 {
		t.Errorf("%d pictures, not one wide and one narrow for each element", n)
	}
	for _, want := range []string{"Hall &lt;b&gt;", "<td>2026-03</td><td class=\"n\">5.5</td>", "<td>2026-04</td>", "Content-Security-Policy", "Disconnect the supply"} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q", want)
		}
	}
	// April has the night apart and the bursts.
	april := got[strings.Index(got, "<td>2026-04</td>"):]
	if line, _, _ := strings.Cut(april, "</tr>"); !strings.Contains(line, "<td class=\"n\">30</td><td class=\"n\">1</td><td>intermittent</td>") {
		t.Errorf("%s", line)
	}
}

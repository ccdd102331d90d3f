package report

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
)

// years is an invented history with all that can happen to an element, and names that
// want escaping.
func years() *history.History {
	at := func(month, day int) time.Time {
		return time.Date(2026, time.Month(month), day, 3, 30, 0, 0, time.UTC)
	}
	none, inf := math.NaN(), math.Inf(1)
	var nights []history.Night
	for day := range 120 {
		nights = append(nights, history.Night{Time: at(3, 1+day), Ohms: 0.004 + 0.0001*float64(day), Error: 0.001, Apart: day == 40})
	}
	return &history.History{Run: &run.Run{Name: "Hall <b>"}, Last: at(6, 30), Check: at(6, 30), Series: []history.Series{
		{Kind: assessment.Feed, Name: "near", Rail: assessment.Loop, First: at(3, 1), Last: at(6, 30), Ohms: 0.1049, Low: 0.1041, High: 0.1057,
			PerYear: 0.0012, PerYearLow: 0.0001, PerYearHigh: 0.0023, Limit: 0.14, Reaches: history.Forecast{Text: "not within 10 years"},
			Verdict: history.Steady, Warm: true, Nights: nights,
			Marks: []history.Mark{{Time: at(4, 2), Text: "a sensor was replaced", Before: 0.1, After: 0.1}}},
		{Kind: assessment.Joint, Name: "west-north", Rail: assessment.Loop, First: at(3, 1), Last: at(6, 30), Ohms: 0.016, Low: 0.0155, High: 0.0172,
			PerYear: 0.0365, PerYearLow: 0.03, PerYearHigh: 0.04, Limit: 0.015, Reaches: history.Forecast{Earliest: at(6, 1), Likely: at(6, 1), Latest: at(6, 1), Text: "it is over its limit"},
			Verdict: history.Drifting, Warm: true, Nights: nights, Stretches: []history.Stretch{{From: at(3, 1), To: at(6, 28), Begin: 0.004, End: 0.016}},
			Changes: []history.Change{{Time: at(3, 1), Called: at(4, 4), Shape: history.Ramp, Before: 0.004, After: 0.016},
				{Time: at(4, 10), Called: at(4, 12), Shape: history.Burst, Before: 0.008, After: 0.1}}},
		{Kind: history.Path, Name: "west.start-east.end", Rail: assessment.Loop, First: at(6, 29), Last: at(6, 30), Ohms: none, Low: 0, High: inf,
			PerYear: none, PerYearLow: -inf, PerYearHigh: inf, Limit: none, Reaches: history.Forecast{Text: "it has no limit"},
			Verdict: history.Unproven, Why: "too few nights", Nights: nights[:2]},
	}}
}

func TestDriftJSON(t *testing.T) {
	var b bytes.Buffer
	if err := DriftJSON(&b, years()); err != nil {
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

func TestDriftTable(t *testing.T) {
	var b bytes.Buffer
	if err := DriftTable(&b, years(), false); err != nil {
		t.Fatal(err)
	}
	got := b.String()
	for _, want := range []string{"LOOK: joint west-north is drifting\n", "Run: Hall <b>", "ramp on 2026-03-01: 4.0 → 16.0 mΩ (+12.0)",
		"intermittent since 2026-04-10: by about 92.0 mΩ", "limit: it is over its limit", "a sensor was replaced: 100.0 mΩ before, 100.0 after",
		"too few nights", "no temperature is read", "last check step 2026-06-30"} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
	if strings.Index(got, "drifting ") > strings.Index(got, "unproven ") || strings.Index(got, "unproven ") > strings.Index(got, "steady ") {
		t.Errorf("not the gravest first:\n%s", got)
	}
	for line := range strings.Lines(got) {
		if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > tableWidth {
			t.Errorf("%d columns: %s", n, line)
		}
	}
	b.Reset()
	if err := DriftTable(&b, &history.History{Run: &run.Run{}}, true); err != nil || !strings.Contains(b.String(), "NOTHING TO FOLLOW") {
		t.Errorf("%v, %s", err, b.String())
	}
}

func TestDriftHTML(t *testing.T) {
	var b bytes.Buffer
	if err := DriftHTML(&b, years(), Options{}); err != nil {
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

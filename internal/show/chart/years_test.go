package chart

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/result/history"
)

var begin = time.Date(2026, 3, 1, 3, 0, 0, 0, time.UTC)

func nights(n int, ohms func(i int) float64) []history.Night {
	var list []history.Night
	for i := range n {
		list = append(list, history.Night{Time: begin.AddDate(0, 0, i), Ohms: ohms(i), Error: 0.001})
	}
	return list
}

// With any values known or unknown, a picture is drawn, is not large, and shows neither NaN nor
// Inf.
func TestYearsOfEverySort(t *testing.T) {
	none, inf := math.NaN(), math.Inf(1)
	rising := func(i int) float64 { return 0.003 + 0.0001*float64(i) }
	for name, s := range map[string]history.Series{
		"nothing":   {Ohms: none, High: inf, PerYear: none, PerYearLow: -inf, PerYearHigh: inf, Limit: none},
		"one night": {Nights: nights(1, rising), Ohms: 0.003, High: inf, PerYear: none, PerYearLow: -inf, PerYearHigh: inf, Limit: 0.015},
		"constant":  {Nights: nights(50, func(int) float64 { return 0.1 }), Ohms: 0.1, Low: 0.1, High: 0.1, Limit: none},
		"wild":      {Nights: nights(50, func(i int) float64 { return math.Pow(10, float64(i%20)) }), Ohms: 1, Low: 0, High: 1e12, Limit: 1e15},
		"unknown nights": {Nights: nights(50, func(int) float64 { return none }), Ohms: none, High: inf, Limit: 0.015,
			Changes: []history.Change{{Time: begin.AddDate(20, 0, 0), Shape: history.Jump}}},
		"twenty years": {Nights: nights(7300, rising), Ohms: 0.7, Low: 0.6, High: 0.8, PerYear: 0.03, PerYearLow: 0.02, PerYearHigh: 0.04, Limit: 0.015,
			Last: begin.AddDate(20, 0, 0), Verdict: history.Drifting},
	} {
		for _, width := range []int{Wide, Narrow} {
			var b bytes.Buffer
			if err := Years(s, width).SVG(&b); err != nil {
				t.Errorf("%s: %v", name, err)
			}
			if text := b.String(); strings.Contains(text, "NaN") || strings.Contains(text, "Inf") || len(text) > 900_000 {
				t.Errorf("%s: %d bytes", name, len(text))
			}
		}
	}
}

// What a person is to see is there: changes with their dates, the limit, what was
// replaced, where it is heading.
func TestYearsSaysWhatHappened(t *testing.T) {
	s := history.Series{Kind: "joint", Name: "west-<north>", Verdict: history.Drifting, Nights: nights(200, func(i int) float64 { return 0.003 + 0.0001*float64(i) }),
		Ohms: 0.023, Low: 0.02, High: 0.026, PerYear: 0.036, PerYearLow: 0.03, PerYearHigh: 0.04, Limit: 0.015, Last: begin.AddDate(0, 0, 199),
		Changes: []history.Change{{Time: begin.AddDate(0, 0, 10), Shape: history.Ramp}},
		Marks:   []history.Mark{{Time: begin.AddDate(0, 0, 90), Text: "re-made"}}}
	var b bytes.Buffer
	if err := Years(s, Wide).SVG(&b); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"joint west-&lt;north&gt;: drifting", "drift begins 11 Mar", "limit 15", "re-made", "where it is heading", "Jul 2026"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q", want)
		}
	}
	s.Verdict, s.Changes[0].Shape = history.Jumped, history.Jump // on a screen a step is a load step only
	b.Reset()
	if err := Years(s, Wide).SVG(&b); err != nil || strings.Contains(b.String(), "step") || !strings.Contains(b.String(), ": jumped") || !strings.Contains(b.String(), "jump 11 Mar") {
		t.Errorf("%v: a jump is not named as one", err)
	}
	s.Verdict = history.Steady
	b.Reset()
	if err := Years(s, Wide).SVG(&b); err != nil || strings.Contains(b.String(), "where it is heading") {
		t.Errorf("%v: a steady joint is heading somewhere", err)
	}
}

func TestTimes(t *testing.T) {
	for _, c := range []struct {
		days        float64
		n           int
		first, last string
	}{{240, 10, "Mar 2026", "Oct 2026"}, {240, 4, "Mar 2026", "Sep 2026"}, {3650, 10, "2027", "2036"}, {36500, 10, "2030", "2120"},
		{31, 8, "7 Mar", "28 Mar"}, {7, 9, "1 Mar", "7 Mar"}, {1, 9, "03:00", "03:00"}, {1.0 / 24, 7, "03:00", "04:00"}} {
		from := day(begin) - 1
		got := times(span{from, from + c.days}, c.n, time.UTC)
		if len(got) == 0 || got[0].label != c.first || got[len(got)-1].label != c.last || len(got) > max(c.n, 2) {
			t.Errorf("%v days: %v", c.days, got)
		}
	}
}

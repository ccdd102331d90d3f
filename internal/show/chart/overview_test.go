package chart

import (
	"math"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/result/history"
)

// An overview shows its periods, gaps and events; a value that cannot be drawn does no harm.
func TestOverview(t *testing.T) {
	o := Overview{Title: "voltage from west.start+ to west.start-", Unit: "V", Zone: time.UTC,
		Events: []Event{{begin.Add(90 * time.Minute), "re-made joint 1"}, {begin.AddDate(9, 0, 0), "outside"}}}
	for i := range 200 {
		b := Bucket{From: begin.Add(time.Duration(i) * time.Minute), To: begin.Add(time.Duration(i+1) * time.Minute), N: 60, Min: 4.9, Mean: 4.95 + 0.01*math.Sin(float64(i)/20), Max: 5}
		if i > 120 && i < 140 {
			b = Bucket{From: b.From, To: b.To}
		}
		o.Buckets = append(o.Buckets, b)
	}
	for _, width := range []int{Wide, Narrow} {
		svg := drawn(t, o.Draw(width))
		for _, want := range []string{"voltage from west.start+", ">V<", "least to greatest", "re-made joint 1", ">04:00<"} {
			if !strings.Contains(svg, want) {
				t.Errorf("at %d px no %q", width, want)
			}
		}
		if strings.Contains(svg, "outside") || strings.Contains(svg, "nothing was measured") {
			t.Error("an event outside its time, or no values, are shown")
		}
	}
	if svg := drawn(t, Overview{Zone: time.UTC}.Draw(Narrow)); !strings.Contains(svg, "nothing was measured") {
		t.Error("nothing is said of no values")
	}
	o.Buckets[3].Max, o.Buckets[4].Mean, o.Buckets[5].Min = math.Inf(1), math.NaN(), -1e300
	drawn(t, o.Draw(Wide))
}

// A part of the years has the nights, changes and trend within it, and the forecast only where it
// reaches to it.
func TestYearsBetween(t *testing.T) {
	rising := func(i int) float64 { return 0.003 + 0.00002*float64(i) }
	s := history.Series{Kind: "joint", Name: "west-north", Nights: nights(400, rising), Ohms: 0.011, Low: 0.0105, High: 0.0115, Limit: 0.015, Verdict: history.Drifting,
		PerYear: 0.0073, PerYearLow: 0.006, PerYearHigh: 0.008, Last: begin.AddDate(0, 0, 399),
		Changes:   []history.Change{{Time: begin.AddDate(0, 0, 100), Shape: history.Ramp}},
		Marks:     []history.Mark{{Time: begin.AddDate(0, 0, 300), Text: "cleaned"}},
		Stretches: []history.Stretch{{From: begin, To: begin.AddDate(0, 0, 399), Begin: 0.003, End: 0.011}}}
	for _, c := range []struct {
		from, to int // days
		has, not string
	}{{0, 399, "drift begins", "nothing is known"}, {80, 120, "drift begins", "cleaned"}, {290, 310, "cleaned", "drift begins"}, {350, 450, "where it is heading", "cleaned"}} {
		svg := drawn(t, YearsBetween(s, begin.AddDate(0, 0, c.from), begin.AddDate(0, 0, c.to), Wide))
		if !strings.Contains(svg, c.has) || strings.Contains(svg, c.not) {
			t.Errorf("days %d to %d: no %q, or %q", c.from, c.to, c.has, c.not)
		}
	}
	if svg := drawn(t, YearsBetween(s, begin.AddDate(5, 0, 0), begin.AddDate(5, 1, 0), Narrow)); !strings.Contains(svg, "nothing is known here") {
		t.Error("a time without nights does not say so")
	}
	drawn(t, YearsBetween(s, begin, begin, Narrow))
}

package wording

import (
	"math"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
)

// What is over its limit comes first, each with where to look and the caution of that work; what
// is steady asks for nothing.
func TestDriftActions(t *testing.T) {
	at := time.Date(2031, 3, 4, 4, 0, 0, 0, time.UTC)
	h := &history.History{Series: []history.Series{
		{Kind: run.KindReel, Name: "west", Ohms: 0.3, Low: 0.29, High: 0.31, Limit: math.NaN(), Verdict: history.Unproven, Why: "no feed's current is read"},
		{Kind: run.KindFeed, Name: "near", Ohms: 0.1, Low: 0.09, High: 0.11, Limit: 0.141, Verdict: history.Drifting, PerYear: 0.0123, Reaches: history.Forecast{Text: "in about 3 years"}},
		{Kind: run.KindJoint, Name: "west-north", Ohms: 0.0976, Low: 0.0949, High: 0.1, Limit: 0.015, Verdict: history.Jumped,
			Changes: []history.Change{{Time: at, Shape: history.Jump, Before: 0.003, After: 0.0976}}},
		{Kind: run.KindJoint, Name: "north-east", Ohms: 0.003, Low: 0.002, High: 0.004, Limit: 0.015, Verdict: history.Steady},
	}}
	look, unproven := DriftActions(h)
	if len(look) != 2 || len(unproven) != 1 {
		t.Errorf("%q, %q", look, unproven)
	}
	got := append(look, unproven...)
	want := []Action{
		{"Joint west-north: 97.6 mΩ, over its limit of 15.0 mΩ, jumped on 4 March 2031 from 3.0 to 97.6 mΩ. Clean or re-make the joint.", beforeSoldering},
		{"Feed near: 100.0 mΩ, drifting by +12.3 mΩ a year, reaches its limit: in about 3 years. Look at its connectors and fuse holder first, then at its wire.", atFeeds},
		{"Reel west: not enough readings to decide: no feed's current is read.", ""},
	}
	if len(got) != len(want) {
		t.Fatalf("%q", got)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%q\nwant %q", got[i], want[i])
		}
	}
	if MarkWord("lost") != "lost" || MarkWord("run") != "run file reloaded" || !strings.HasPrefix(MarkWord("own"), "own") {
		t.Error("words of marks")
	}
}

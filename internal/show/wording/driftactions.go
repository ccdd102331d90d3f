package wording

import (
	"fmt"
	"math"
	"strings"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// lookAt says where to look first at a kind of element (common practice, no source).
var lookAt = map[run.Kind]string{
	run.KindJoint: "Clean or re-make the joint.",
	run.KindFeed:  "Look at its connectors and fuse holder first, then at its wire.",
	run.KindReel:  "Look along the reel for damage, heat marks and moisture.",
	run.KindPath:  "Take readings at the joints between these two places to find which one it is.",
}

// DriftActions returns what to do about a history: what is over its limit or changes, the gravest
// first, and in one line each what is not known.
func DriftActions(h *history.History) (look, unproven []Action) {
	for _, s := range GravestFirst(h.Series) {
		if SeriesVerdict(s) == "fail" {
			text := fmt.Sprintf("%s: %s. %s", Capital(seriesName(s)), behaviour(s), lookAt[s.Kind])
			look = append(look, Action{strings.TrimSpace(text), cautionOf[s.Kind]})
		}
	}
	for _, s := range h.Series {
		if SeriesVerdict(s) == "unproven" {
			text := fmt.Sprintf("%s: not enough readings to decide", Capital(seriesName(s)))
			if s.Why != "" {
				text += ": " + printable.Line(s.Why)
			}
			unproven = append(unproven, Action{Text: text + "."})
		}
	}
	return look, unproven
}

func seriesName(s history.Series) string { return string(s.Kind) + " " + printable.Short(s.Name, 40) }

// behaviour says what is wrong with an element.
func behaviour(s history.Series) string {
	var parts []string
	if !math.IsNaN(s.Ohms) {
		parts = append(parts, number.MilliohmTenths(s.Ohms)+" mΩ")
	}
	if s.Low > s.Limit {
		parts = append(parts, "over its limit of "+number.MilliohmTenths(s.Limit)+" mΩ")
	}
	var last *history.Change
	if n := len(s.Changes); n > 0 {
		last = &s.Changes[n-1]
	}
	switch {
	case s.Verdict == history.Intermittent:
		parts = append(parts, "contact is lost for moments, again and again")
	case s.Verdict == history.Drifting && !math.IsNaN(s.PerYear):
		text := "drifting by " + number.SignedTenths(s.PerYear) + " mΩ a year"
		if s.Low <= s.Limit && s.Reaches.Text != "" {
			text += ", reaches its limit: " + s.Reaches.Text
		}
		parts = append(parts, text)
	case s.Verdict == history.Jumped && last != nil:
		parts = append(parts, fmt.Sprintf("jumped on %s from %s to %s mΩ", last.Time.Format("2 January 2006"), number.MilliohmTenths(last.Before), number.MilliohmTenths(last.After)))
	}
	return strings.Join(parts, ", ")
}

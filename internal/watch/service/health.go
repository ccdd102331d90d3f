package service

import (
	"fmt"
	"math"
	"time"

	"ohmkeep/internal/drift"
	"ohmkeep/internal/result/history"
)

// Health is the state of a run, as the newest analysis of its readings found it.
type Health struct {
	State    string     `json:"state"`    // failing, unproven, sound, or unknown
	Failing  []string   `json:"failing"`  // each element over its limit or changing, in words
	Unproven []string   `json:"unproven"` // each element of which too little is known, and what is missing
	Followed int        `json:"followed"` // how many elements the sensors can follow
	Newest   *time.Time `json:"newest_reading,omitempty"`
}

// The states of a run.
const (
	failing  = "failing"  // an element is over its limit or changing
	unproven = "unproven" // nothing fails, but too little is known of an element
	sound    = "sound"    // every element that is followed is steady and none over its limit
	unknown  = "unknown"  // there was no analysis yet, or nothing can be followed
)

// healthOf returns the health of the run from a history; nil = there was no analysis.
func healthOf(h *history.History) Health {
	health := Health{State: unknown, Failing: []string{}, Unproven: []string{}}
	if h == nil {
		return health
	}
	if !h.Last.IsZero() {
		health.Newest = &h.Last
	}
	health.Followed = len(h.Series)
	for _, s := range h.Series {
		switch {
		case drift.Fails(s):
			health.Failing = append(health.Failing, describe(s))
		case s.Verdict == history.Unproven:
			text := fmt.Sprintf("%s %s", s.Kind, s.Name)
			if s.Why != "" {
				text += ": " + s.Why
			}
			health.Unproven = append(health.Unproven, text)
		}
	}
	switch {
	case len(health.Failing) > 0:
		health.State = failing
	case len(health.Unproven) > 0:
		health.State = unproven
	case health.Followed > 0:
		health.State = sound
	}
	return health
}

// describe returns in words why an element fails.
func describe(s history.Series) string {
	text := fmt.Sprintf("%s %s", s.Kind, s.Name)
	if !math.IsNaN(s.Ohms) {
		text += fmt.Sprintf(": %.1f mΩ", 1e3*s.Ohms)
	}
	if !math.IsNaN(s.Limit) {
		text += fmt.Sprintf(", limit %.1f mΩ", 1e3*s.Limit)
	}
	if s.Low > s.Limit {
		text += ", over its limit"
	}
	if s.Verdict != history.Steady && s.Verdict != history.Unproven {
		text += ", " + string(s.Verdict)
	}
	return text
}

// Verdict returns the verdict of the health. A run without an analysis, or without series, does
// not lower the verdict.
func (h Health) Verdict() Verdict {
	switch h.State {
	case failing:
		return Bad
	case unproven:
		return Unproven
	}
	return Good
}

// part returns the health in words.
func (h Health) part() Part {
	p := Part{Verdict: h.Verdict()}
	switch {
	case h.State == failing:
		p.Text, p.Details = fmt.Sprintf("The run fails: %d of %d followed elements are over their limit or changing.", len(h.Failing), h.Followed), h.Failing
		if len(h.Failing) == 1 {
			p.Text = fmt.Sprintf("The run fails: 1 of %d followed elements is over its limit or changing.", h.Followed)
		}
	case h.State == unproven:
		p.Text, p.Details = fmt.Sprintf("Of the run nothing is known to fail; %d of %d followed elements are unproven.", len(h.Unproven), h.Followed), h.Unproven
	case h.State == sound:
		p.Text = fmt.Sprintf("The run is sound as far as it is followed: elements that are steady and not over their limit: %d.", h.Followed)
	case h.Newest != nil:
		p.Text = "Of the run nothing can be followed with these sensors."
	default:
		p.Text = "The run has not been analysed yet."
	}
	return p
}

package wording

import (
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/text/printable"
)

// Action is one thing to do, with the caution that belongs to it.
type Action struct {
	Text    string
	Caution string
}

// The cautions of the trade, shown next to the work that they concern.
const (
	beforeSoldering = "Disconnect the supply from the mains before soldering."
	atFeeds         = "Fuse each feed near its supply, and stay within the rating of cable and connectors."
	atSupplies      = "Mains terminals belong to licensed people. Never join the plus rails of two supplies."
)

// Cautions lists all cautions, for a page that is used at the run.
var Cautions = []string{
	"Mains terminals belong to licensed people.",
	beforeSoldering,
	"Fuse each feed near its supply.",
	"Never join the plus rails of two supplies.",
	"Stay within the rating of every cable and connector.",
	"Local codes decide where they ask for more than this page.",
}

// cautionOf is the caution for work on a kind of element.
var cautionOf = map[run.Kind]string{run.KindJoint: beforeSoldering, run.KindReel: beforeSoldering, run.KindFeed: atFeeds, run.KindSupply: atSupplies}

// Actions returns what to do, in order: repair what fails, as its finding advises; repeat readings
// that contradict the others; take the readings that would decide the rest.
func Actions(a *assessment.Assessment) []Action {
	var out []Action
	for _, f := range a.Findings {
		if f.Severity != assessment.Failing {
			continue
		}
		out = append(out, ActionOf(f))
	}
	out = append(out, readAgain(a.Readings)...)
	for _, n := range a.Next {
		out = append(out, Action{Text: "Read the " + Next(a.Run, n) + "."})
	}
	return out
}

// ActionOf returns what a finding that fails asks to be done.
func ActionOf(f assessment.Finding) Action {
	kind, _, _ := strings.Cut(f.Subject, " ")
	act := Action{Capital(printable.Short(f.Subject, 60)) + ": " + printable.Line(f.Text), cautionOf[run.Kind(kind)]}
	if act.Caution == beforeSoldering && strings.Contains(f.Text, "Disconnect the supply") {
		act.Caution = "" // the text already states it
	}
	return act
}

// Notes returns the findings that ask for no repair, warnings first.
func Notes(findings []assessment.Finding) []assessment.Finding {
	var out []assessment.Finding
	for _, severity := range []assessment.Severity{assessment.Warning, assessment.Notice} {
		for _, f := range findings {
			if f.Severity == severity {
				f.Subject, f.Text = printable.Short(f.Subject, 60), printable.Line(f.Text)
				out = append(out, f)
			}
		}
	}
	return out
}

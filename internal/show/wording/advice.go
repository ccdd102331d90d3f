package wording

import (
	"fmt"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/text/printable"
)

// Action is one thing to do, with the caution that belongs to it.
type Action struct {
	Text    string
	Caution string
}

// The Cautions of the trade, said where somebody is about to act on them.
const (
	beforeSoldering = "Disconnect the supply from the mains before soldering."
	atFeeds         = "Fuse each feed near its supply, and stay within the rating of cable and connectors."
	atSupplies      = "Mains terminals belong to licensed people. Never join the plus rails of two supplies."
)

// Cautions are all of them, for whoever has the run open.
var Cautions = []string{
	"Mains terminals belong to licensed people.",
	beforeSoldering,
	"Fuse each feed near its supply.",
	"Never join the plus rails of two supplies.",
	"Stay within the rating of every cable and connector.",
	"Local codes decide where they ask for more than this page.",
}

// Actions says what to do first: mend what fails, read again what contradicts
// the rest, then read what would settle the open questions.
func Actions(a *assessment.Assessment) []Action {
	var out []Action
	told := map[string]bool{}
	for _, e := range WorstFirst(a.Elements) {
		if e.Verdict == assessment.Fail && !told[Subject(e)] {
			told[Subject(e)] = true
			out = append(out, mend(a, e))
		}
	}
	for _, r := range a.Readings {
		if r.Suspect {
			out = append(out, Action{Text: fmt.Sprintf("Take the reading of row %d again: %s.", r.Row, Suspect(r))})
		}
	}
	for _, n := range a.Next {
		out = append(out, Action{Text: "Read the " + Next(a.Run, n) + "."})
	}
	return out
}

// mend says what to do about an element that fails.
func mend(a *assessment.Assessment, e assessment.Element) Action {
	l := LineOf(e)
	name := printable.Short(e.Name, 60)
	has := fmt.Sprintf("%s %s (95 %% interval %s … %s) where %s is the most", l.Value, l.Unit, l.Low, l.High, l.Limit)
	switch {
	case SeemsOpen(e):
		has = fmt.Sprintf("it may be open (95 %% interval %s … %s mΩ) where %s is the most", l.Low, l.High, l.Limit)
	case e.Open():
		has = "it is open"
		if e.Low > 0 {
			has += ", with at least " + l.Low + " mΩ"
		}
	}
	var act Action
	switch e.Kind {
	case run.KindJoint:
		act = Action{"Remake joint " + name + ": " + has + ".", beforeSoldering}
	case run.KindFeed:
		act = Action{"Check the connectors of feed " + name + ", then its cable: " + has + ".", atFeeds}
	case run.KindReel:
		act = Action{"Look along reel " + name + " for damaged copper, or replace it: " + has + ".", beforeSoldering}
	default:
		act = Action{"Check the terminals of supply " + name + ": " + has + ".", atSupplies}
	}
	if rail, ok := guilty(a, e); ok {
		act.Text += " The trouble is in its " + rail.String() + " conductor."
	}
	if l.Remark != "" {
		act.Text += " " + Capital(l.Remark) + "."
	}
	return act
}

// guilty gives the only conductor of an element that fails, where the readings
// tell the two apart.
func guilty(a *assessment.Assessment, e assessment.Element) (run.Rail, bool) {
	var rail run.Rail
	failing, rails := 0, 0
	for _, other := range a.Elements {
		if other.Kind != e.Kind || other.Name != e.Name || other.Rail == run.Loop {
			continue
		}
		rails++
		if other.Verdict == assessment.Fail {
			rail, failing = other.Rail, failing+1
		}
	}
	return rail, failing == 1 && rails == 2
}

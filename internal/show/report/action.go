package report

import (
	"fmt"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/text/printable"
)

// action is one thing to do, with the caution that belongs to it.
type action struct {
	Text    string
	Caution string
}

// The cautions of the trade, said where somebody is about to act on them.
const (
	beforeSoldering = "Disconnect the supply from the mains before soldering."
	atFeeds         = "Fuse each feed near its supply, and stay within the rating of cable and connectors."
	atSupplies      = "Mains terminals belong to licensed people. Never join the plus rails of two supplies."
)

// cautions are all of them, for whoever has the run open.
var cautions = []string{
	"Mains terminals belong to licensed people.",
	beforeSoldering,
	"Fuse each feed near its supply.",
	"Never join the plus rails of two supplies.",
	"Stay within the rating of every cable and connector.",
	"Local codes decide where they ask for more than this page.",
}

// actions says what to do first: mend what fails, read again what contradicts
// the rest, then read what would settle the open questions.
func actions(a *assessment.Assessment) []action {
	var out []action
	told := map[string]bool{}
	for _, e := range WorstFirst(a.Elements) {
		if e.Verdict == assessment.Fail && !told[subject(e)] {
			told[subject(e)] = true
			out = append(out, mend(a, e))
		}
	}
	for _, r := range a.Readings {
		if r.Suspect {
			out = append(out, action{Text: fmt.Sprintf("Take the reading of row %d again: %s.", r.Row, suspectText(r))})
		}
	}
	for _, n := range a.Next {
		out = append(out, action{Text: "Read the " + nextText(a.Run, n) + "."})
	}
	return out
}

// mend says what to do about an element that fails.
func mend(a *assessment.Assessment, e assessment.Element) action {
	l := lineOf(e)
	name := printable.Short(e.Name, 60)
	has := fmt.Sprintf("%s %s (95 %% interval %s … %s) where %s is the most", l.Value, l.Unit, l.Low, l.High, l.Limit)
	switch {
	case seemsOpen(e):
		has = fmt.Sprintf("it may be open (95 %% interval %s … %s mΩ) where %s is the most", l.Low, l.High, l.Limit)
	case e.Open():
		has = "it is open"
		if e.Low > 0 {
			has += ", with at least " + l.Low + " mΩ"
		}
	}
	var act action
	switch e.Kind {
	case assessment.Joint:
		act = action{"Remake joint " + name + ": " + has + ".", beforeSoldering}
	case assessment.Feed:
		act = action{"Check the connectors of feed " + name + ", then its cable: " + has + ".", atFeeds}
	case assessment.Reel:
		act = action{"Look along reel " + name + " for damaged copper, or replace it: " + has + ".", beforeSoldering}
	default:
		act = action{"Check the terminals of supply " + name + ": " + has + ".", atSupplies}
	}
	if rail, ok := guilty(a, e); ok {
		act.Text += " The trouble is in its " + string(rail) + " conductor."
	}
	if l.Remark != "" {
		act.Text += " " + capital(l.Remark) + "."
	}
	return act
}

// guilty gives the only conductor of an element that fails, where the readings
// tell the two apart.
func guilty(a *assessment.Assessment, e assessment.Element) (assessment.Rail, bool) {
	var rail assessment.Rail
	failing, rails := 0, 0
	for _, other := range a.Elements {
		if other.Kind != e.Kind || other.Name != e.Name || other.Rail == assessment.Loop {
			continue
		}
		rails++
		if other.Verdict == assessment.Fail {
			rail, failing = other.Rail, failing+1
		}
	}
	return rail, failing == 1 && rails == 2
}

// assumptions says what the numbers rest on.
func assumptions(a *assessment.Assessment) []string {
	var out []string
	r := a.Run
	if r == nil {
		return nil
	}
	out = append(out, fmt.Sprintf("Resistances are at 20 °C; the copper was at %s °C where no reading says otherwise.", figures(r.Ambient, 3)))
	out = append(out, "An interval holds the true value with 95 % probability; what the meters may be off is in it.")
	for _, m := range r.Meters {
		how := "carried from place to place, so that its error is the same everywhere"
		if m.Each {
			how = "a sensor of its own at every place"
		}
		for _, g := range m.Ranges {
			unit := units[g.Quantity]
			out = append(out, fmt.Sprintf("Meter %s (%s), %s%s: within ±(%s %% of the reading + %s × %s %s).",
				printable.Short(m.Name, 40), how, g.Quantity, upTo(g.UpTo, unit), figures(g.Fraction*100, 3), figures(g.Counts, 3), figures(g.Resolution, 3), unit))
		}
	}
	l := r.Limits
	out = append(out, fmt.Sprintf("Limit of a joint: %s mΩ for both conductors together, unless the run file gives it one of its own.", chart.Milliohms(l.JointOhms)))
	feed := fmt.Sprintf("Limit of a feed: %s %% over what its wire gives, and %s mΩ for its connectors", figures(l.FeedExcess*100, 3), chart.Milliohms(l.ConnectorOhms))
	if l.DesignStep >= 0 && l.DesignStep < len(r.Steps) {
		feed += fmt.Sprintf("; or a drop of %s %% of the supply's volts in step \"%s\", if that is less", figures(l.FeedDrop*100, 3), printable.Short(r.Steps[l.DesignStep].Name, 40))
	}
	out = append(out, feed+".")
	out = append(out, fmt.Sprintf("Limit of a reel: %s %% over the nominal of its strip, where that is known.", figures(l.ReelExcess*100, 3)))
	out = append(out, "How well the fitted run explains the readings: "+fitText(a.Fit)+".")
	return out
}

func upTo(v float64, unit string) string {
	if v > 0 && v < 1e9 {
		return " up to " + figures(v, 3) + " " + unit
	}
	return ""
}

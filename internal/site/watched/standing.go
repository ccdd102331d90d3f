package watched

import (
	"math"
	"slices"
	"strings"
	"time"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/wording"
)

// withHand returns the verdict on a run, of which readings by hand tell more than its history.
func withHand(b bar, h *history.History, hand []assessment.Element, read byHand) bar {
	if len(hand) == 0 {
		return b
	}
	failing, unproven := handNames(hand, assessment.Fail), handNames(hand, assessment.Unproven)
	if h != nil {
		for _, s := range h.Series {
			if s.Verdict == history.Unproven && !inHand(hand, s.Kind, s.Name) {
				unproven = append(unproven, string(s.Kind)+" "+s.Name)
			}
		}
	}
	on := " (read by hand on " + read.at.Local().Format("2 January 2006") + ")"
	switch {
	case len(failing) > 0 && b.Class == string(assessment.Fail):
		b.Rest += "; over its limit: " + wording.Few(failing) + on
	case len(failing) > 0:
		b = bar{Class: string(assessment.Fail), Word: "LOOK", Rest: "over its limit: " + wording.Few(failing) + on}
	case b.Class == string(assessment.Fail):
	case len(unproven) > 0:
		b = bar{Class: string(assessment.Unproven), Word: "UNPROVEN", Rest: "not enough readings to decide: " + wording.Few(unproven)}
	default:
		b = bar{Class: string(assessment.Pass), Word: "PASS", Rest: "everything that is followed is steady, and the rest passed" + on}
	}
	return b
}

// handNames returns the names of the elements with a verdict.
func handNames(hand []assessment.Element, v assessment.Verdict) (names []string) {
	for _, e := range hand {
		if e.Verdict == v {
			names = append(names, wording.Label(e))
		}
	}
	return names
}

func inHand(hand []assessment.Element, kind run.Kind, name string) bool {
	return slices.ContainsFunc(hand, func(e assessment.Element) bool { return e.Kind == kind && e.Name == name })
}

// actionsOf returns what needs doing: what the history asks for, then what failed when it was read
// by hand, then what is not known.
func actionsOf(h *history.History, hand []assessment.Element, read byHand) []wording.Action {
	var out, unproven []wording.Action
	if h != nil {
		rest := *h
		rest.Series = slices.DeleteFunc(slices.Clone(h.Series), func(s history.Series) bool { return !known(s) && inHand(hand, s.Kind, s.Name) })
		out, unproven = wording.DriftActions(&rest)
	}
	if len(hand) > 0 {
		for _, f := range read.found.Findings {
			kind, name, _ := strings.Cut(f.Subject, " ")
			if f.Severity == assessment.Failing && slices.ContainsFunc(hand, func(e assessment.Element) bool {
				return string(e.Kind) == kind && e.Name == name && e.Verdict == assessment.Fail
			}) {
				out = append(out, wording.ActionOf(f))
			}
		}
	}
	for _, name := range handNames(hand, assessment.Unproven) {
		unproven = append(unproven, wording.Action{Text: wording.Capital(name) + ": not enough readings by hand to decide."})
	}
	if len(unproven) > 0 && len(hand) > 0 {
		for _, n := range read.found.Next {
			unproven = append(unproven, wording.Action{Text: "Read the " + wording.Next(read.of, n) + "."})
		}
	}
	return append(out, unproven...)
}

// rowsOf returns the table of elements: what fails first, then what is not known.
func rowsOf(h *history.History, hand []assessment.Element, read byHand) []elementRow {
	var rows []elementRow
	if h != nil {
		for _, s := range wording.GravestFirst(h.Series) {
			if known(s) || !inHand(hand, s.Kind, s.Name) {
				rows = append(rows, elementRow{wording.SeriesLineOf(s), "", elementLink(s.Kind, s.Name)})
			}
		}
	}
	for _, e := range wording.WorstFirst(hand) {
		l := wording.LineOf(e)
		row := elementRow{SeriesLine: wording.SeriesLine{Word: string(e.Verdict), Class: string(e.Verdict), Label: l.Label, Ohms: l.Value, Interval: l.Low + " … " + l.High, Limit: l.Limit,
			Rate: "–", Remarks: []string{"read by hand, " + read.at.Local().Format(time.DateOnly)}}}
		if math.IsNaN(e.Ohms) {
			row.Ohms, row.Remarks = "–", []string{"worked on since it was read by hand"}
		}
		if l.Unit == "mΩ/m" {
			row.Per = " per m"
		}
		if l.Remark != "" {
			row.Remarks = append(row.Remarks, l.Remark)
		}
		if h != nil && slices.ContainsFunc(h.Series, func(s history.Series) bool { return s.Kind == e.Kind && s.Name == e.Name }) {
			row.Link = elementLink(e.Kind, e.Name)
		}
		rows = append(rows, row)
	}
	gravity := map[string]int{string(assessment.Fail): 0, string(assessment.Unproven): 1, string(assessment.Pass): 2, "": 3}
	slices.SortStableFunc(rows, func(a, b elementRow) int { return gravity[a.Class] - gravity[b.Class] })
	return rows
}

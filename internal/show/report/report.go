// Package report writes an assessment or a prediction for its readers: JSON for
// programs, a table for somebody on a ladder, a page that can be handed over as
// proof.
//
// Every output is a function of its value alone: no clock, no file, no terminal
// is asked. What is not a finite number never reaches JSON, names are shown on
// one line whatever they contain, and the order is the same every time. The
// worst comes first wherever a person reads.
package report

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/text/printable"
)

// WorstFirst gives the elements in the order in which a person should look at
// them: what fails, what is unproven, what passes, what has no limit; among
// equals an open conductor first, then by how much of its limit each uses up.
func WorstFirst(elements []assessment.Element) []assessment.Element {
	sorted := append([]assessment.Element{}, elements...)
	sort.SliceStable(sorted, func(i, j int) bool {
		a, b := sorted[i], sorted[j]
		if grave(a.Verdict) != grave(b.Verdict) {
			return grave(a.Verdict) > grave(b.Verdict)
		}
		if a.Known != b.Known {
			return a.Known // measured trouble before what nobody can know
		}
		return share(a) > share(b)
	})
	return sorted
}

func grave(v assessment.Verdict) int {
	switch v {
	case assessment.Fail:
		return 3
	case assessment.Unproven:
		return 2
	case assessment.Pass:
		return 1
	}
	return 0
}

// share is how many times its limit an element has; 0 where that means nothing.
func share(e assessment.Element) float64 {
	switch part := e.Ohms / e.Limit; {
	case e.Open():
		return math.Inf(1)
	case part > 0:
		return part
	}
	return 0
}

// subject names an element without its conductor.
func subject(e assessment.Element) string {
	return string(e.Kind) + " " + printable.Short(e.Name, 40)
}

// headline says the verdict on the whole run in one line, and which it is.
func headline(a *assessment.Assessment) (string, assessment.Verdict) {
	worst := map[string]assessment.Verdict{} // an element's rows count once
	var order []string
	for _, e := range WorstFirst(a.Elements) {
		if _, seen := worst[subject(e)]; !seen && e.Verdict != assessment.None {
			worst[subject(e)] = e.Verdict
			order = append(order, subject(e))
		}
	}
	of := func(v assessment.Verdict) (names []string) {
		for _, name := range order {
			if worst[name] == v {
				names = append(names, name)
			}
		}
		return names
	}
	failing, unproven := of(assessment.Fail), of(assessment.Unproven)
	switch {
	case len(order) == 0:
		return "NOTHING JUDGED: no element has a limit", assessment.None
	case len(failing) > 0 && len(unproven) > 0:
		return fmt.Sprintf("FAIL: %d of %d — %s; unproven: %s", len(failing), len(order), few(failing), few(unproven)), assessment.Fail
	case len(failing) > 0:
		return fmt.Sprintf("FAIL: %d of %d — %s", len(failing), len(order), few(failing)), assessment.Fail
	case len(unproven) > 0:
		return fmt.Sprintf("UNPROVEN: %d of %d — %s", len(unproven), len(order), few(unproven)), assessment.Unproven
	}
	return fmt.Sprintf("PASS: all %d", len(order)), assessment.Pass
}

// few lists names, and counts those beyond the fourth.
func few(names []string) string {
	if len(names) > 5 {
		return strings.Join(names[:4], ", ") + fmt.Sprintf(" and %d more", len(names)-4)
	}
	return strings.Join(names, ", ")
}

// nameOf gives a run's name; an assessment of nothing has none.
func nameOf(r *run.Run) string {
	if r == nil {
		return ""
	}
	return r.Name
}

// ranked gives the findings with the gravest first.
func ranked(findings []assessment.Finding) []assessment.Finding {
	rank := map[assessment.Severity]int{assessment.Failing: 2, assessment.Warning: 1}
	sorted := append([]assessment.Finding{}, findings...)
	sort.SliceStable(sorted, func(i, j int) bool { return rank[sorted[i].Severity] > rank[sorted[j].Severity] })
	return sorted
}

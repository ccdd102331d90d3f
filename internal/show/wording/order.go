package wording

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/text/printable"
)

// WorstFirst returns the elements sorted by verdict: fail, unproven, pass, no limit. Within a verdict
// open conductors come first, then the elements by resistance over limit, the greatest first.
func WorstFirst(elements []assessment.Element) []assessment.Element {
	sorted := append([]assessment.Element{}, elements...)
	sort.SliceStable(sorted, func(i, j int) bool {
		a, b := sorted[i], sorted[j]
		if grave(a.Verdict) != grave(b.Verdict) {
			return grave(a.Verdict) > grave(b.Verdict)
		}
		if a.Known != b.Known {
			return a.Known // measured faults before unknown values
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

// share is the resistance of an element over its limit; 0 where it has none.
func share(e assessment.Element) float64 {
	switch part := e.Ohms / e.Limit; {
	case e.Open():
		return math.Inf(1)
	case part > 0:
		return part
	}
	return 0
}

// Subject names an element without its conductor.
func Subject(e assessment.Element) string {
	return string(e.Kind) + " " + printable.Short(e.Name, 40)
}

// Headline returns the verdict on the whole run and one line that states it.
func Headline(a *assessment.Assessment) (string, assessment.Verdict) {
	worst := map[string]assessment.Verdict{} // an element's rails count once
	var order []string
	for _, e := range WorstFirst(a.Elements) {
		if _, seen := worst[Subject(e)]; !seen && e.Verdict != assessment.None {
			worst[Subject(e)] = e.Verdict
			order = append(order, Subject(e))
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
	undecided := "not enough readings to decide"
	if a.Doubtful && len(of(assessment.Pass)) == 0 {
		undecided = "the readings contradict the run file; undecided"
	}
	switch {
	case len(order) == 0:
		return "NOTHING JUDGED: no element has a limit", assessment.None
	case len(failing) > 0 && len(unproven) > 0:
		return fmt.Sprintf("FAIL: %d of %d — %s; %s: %s", len(failing), len(order), Few(failing), undecided, Few(unproven)), assessment.Fail
	case len(failing) > 0:
		return fmt.Sprintf("FAIL: %d of %d — %s", len(failing), len(order), Few(failing)), assessment.Fail
	case len(unproven) > 0:
		return fmt.Sprintf("UNPROVEN: %s %d of %d — %s", undecided, len(unproven), len(order), Few(unproven)), assessment.Unproven
	}
	return fmt.Sprintf("PASS: all %d", len(order)), assessment.Pass
}

// Few lists names, and counts those beyond the fourth.
func Few(names []string) string {
	if len(names) > 5 {
		return strings.Join(names[:4], ", ") + fmt.Sprintf(" and %d more", len(names)-4)
	}
	return strings.Join(names, ", ")
}

// RunName returns a run's name; an assessment of nothing has none.
func RunName(r *run.Run) string {
	if r == nil {
		return ""
	}
	return r.Name
}

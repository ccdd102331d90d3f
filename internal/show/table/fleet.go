package table

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"ohmkeep/internal/central/fleet"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// severityVerdicts is the verdict that a severity is coloured by.
var severityVerdicts = map[fleet.Severity]assessment.Verdict{fleet.Failing: assessment.Fail, fleet.Silent: assessment.Unproven, fleet.Unproven: assessment.Unproven,
	fleet.Sound: assessment.Pass}

// Fleet writes the sites of a firm, those first that need a visit most. The error is the writer's.
func Fleet(w io.Writer, sites []*fleet.Site, now time.Time, style Style) error {
	t := newTable(w, style)
	counts := map[fleet.Severity]int{}
	for _, s := range sites {
		counts[s.Severity]++
	}
	verdict := assessment.Pass
	switch {
	case counts[fleet.Failing] > 0:
		verdict = assessment.Fail
	case counts[fleet.Silent]+counts[fleet.Unproven] > 0 || len(sites) == 0:
		verdict = assessment.Unproven
	}
	t.wrapped("", fmt.Sprintf("%s: %d failing, %d silent, %d unproven, %d sound, %d in repair", number.Count(len(sites), "site"),
		counts[fleet.Failing], counts[fleet.Silent], counts[fleet.Unproven], counts[fleet.Sound], counts[fleet.InRepair]), 0, verdict)
	var rows []row
	for _, s := range sites {
		word := string(s.Severity)
		if v := severityVerdicts[s.Severity]; v == assessment.Fail {
			word = strings.ToUpper(word)
		}
		rows = append(rows, row{word, severityVerdicts[s.Severity], printable.Short(siteName(s), 60), []string{since(s.Since), heard(s, now)}, causes(s)})
	}
	t.blank()
	t.grid("", []string{"since", "heard of"}, rows)
	return t.w.Flush()
}

// siteName is a site's name with its label and place.
func siteName(s *fleet.Site) string {
	name := s.Name
	if s.Label != "" {
		name += " " + s.Label
	}
	if s.Place != "" {
		name += ", " + s.Place
	}
	return name
}

func since(t time.Time) string {
	if t.IsZero() {
		return "–"
	}
	return t.Format(time.DateOnly)
}

// heard is how long ago the run of a site was heard of that is silent longest.
func heard(s *fleet.Site, now time.Time) string {
	longest := time.Duration(-1)
	for _, r := range s.Runs {
		if r.Heard.IsZero() {
			return "never"
		}
		longest = max(longest, now.Sub(r.Heard))
	}
	switch {
	case longest < 0:
		return "never"
	case longest < 2*time.Minute:
		return "now"
	case longest < 2*time.Hour:
		return fmt.Sprintf("%.0f min ago", longest.Minutes())
	case longest < 48*time.Hour:
		return fmt.Sprintf("%.0f h ago", longest.Hours())
	}
	return fmt.Sprintf("%.0f d ago", longest.Hours()/24)
}

// maxCauses is the number of causes of a site that are listed.
const maxCauses = 4

// causes describes what fails at a site.
func causes(s *fleet.Site) (all []string) {
	n := 0
	for _, r := range s.Runs {
		for _, c := range r.Causes {
			if n++; n > maxCauses {
				continue
			}
			text := c.Element() + " " + c.Verdict
			if !math.IsNaN(c.Ohms) {
				text += ", " + number.Milliohms(c.Ohms) + " mΩ"
				if !math.IsNaN(c.Limit) {
					text += " of at most " + number.Milliohms(c.Limit)
				}
			}
			if !c.Reaches.IsZero() {
				text += ", at its limit about " + c.Reaches.Format(time.DateOnly)
			}
			if len(s.Runs) > 1 {
				text = r.Name + ": " + text
			}
			all = append(all, text+" ("+c.Source+")")
		}
	}
	if n > maxCauses {
		all = append(all, fmt.Sprintf("and %d more", n-maxCauses))
	}
	return all
}

// Comparisons writes comparisons across runs, those first that show a difference. The error is the
// writer's.
func Comparisons(w io.Writer, all []fleet.Comparison, style Style) error {
	t := newTable(w, style)
	shown := 0
	var rows []row
	for _, c := range all {
		r := row{name: fmt.Sprintf("%s %s: %ss", c.By, printable.Short(c.Group, 40), c.Kind), cells: []string{fmt.Sprintf("%d, %d", c.Runs, c.Others), share(c.PerYear), share(c.Difference), "–", ""}}
		switch {
		case math.IsNaN(c.P):
			r.cells[4] = "too few runs"
		case c.Significant:
			shown++
			r.word, r.verdict, r.cells[4] = "differs", assessment.Fail, "difference shown"
		default:
			r.cells[4] = "no difference shown"
		}
		if !math.IsNaN(c.P) {
			r.cells[3] = share(c.Low) + " to " + share(c.High)
		}
		rows = append(rows, r)
	}
	headline := "nothing can be compared: the run files state no joint type, batch, conductor or installer of more than one kind"
	if len(all) > 0 {
		headline = fmt.Sprintf("%s of how fast resistances rise: %d with a difference shown, at a false discovery rate of %s",
			number.Count(len(all), "comparison"), shown, number.Percent(fleet.FalseDiscoveryRate))
	}
	t.wrapped("", headline, 0, assessment.None)
	t.blank()
	t.grid("", []string{"runs, others", "% a year", "difference", "95 % interval", ""}, rows)
	return t.w.Flush()
}

// share is a fraction in percent with its sign.
func share(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "–"
	}
	return strings.Replace(fmt.Sprintf("%+.1f", 100*x), "-", "−", 1)
}

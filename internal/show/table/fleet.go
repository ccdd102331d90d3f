package table

import (
	"io"
	"strings"
	"time"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/result/firm"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/printable"
)

// maxCauses is the number of causes of a site that are listed.
const maxCauses = 4

// Fleet writes the sites of a firm, those first that need a visit most. The error is the writer's.
func Fleet(w io.Writer, sites []*firm.Site, now time.Time, style Style) error {
	t := newTable(w, style)
	text, verdict := wording.FleetHeadline(sites)
	t.wrapped("", text, 0, verdict)
	var rows []row
	for _, s := range sites {
		word, verdict := string(s.Severity), wording.SeverityVerdict(s.Severity)
		if verdict == assessment.Fail {
			word = strings.ToUpper(word)
		}
		rows = append(rows, row{word, verdict, printable.Short(siteName(s), 60), []string{since(s.Since), wording.HeardOf(s, now)}, wording.Causes(s, maxCauses)})
	}
	t.blank()
	t.grid("", []string{"since", "heard of"}, rows)
	return t.w.Flush()
}

// siteName is a site's name with its label and place.
func siteName(s *firm.Site) string {
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

// Comparisons writes comparisons across runs, those first that show a difference. The error is the
// writer's.
func Comparisons(w io.Writer, all []firm.Comparison, style Style) error {
	t := newTable(w, style)
	var rows []row
	for _, c := range all {
		words := wording.ComparisonOf(c)
		r := row{name: printable.Short(words.Group, 60) + ": " + words.Parts, cells: []string{words.Runs, words.PerYear, words.Difference, words.Interval, words.Result}}
		if c.Significant {
			r.word, r.verdict = "differs", assessment.Fail
		}
		rows = append(rows, r)
	}
	t.wrapped("", wording.ComparisonsHeadline(all), 0, assessment.None)
	t.blank()
	t.grid("", []string{"runs, others", "% a year", "difference", "95 % interval", ""}, rows)
	return t.w.Flush()
}

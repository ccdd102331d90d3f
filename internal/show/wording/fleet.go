package wording

import (
	"fmt"
	"math"
	"strings"
	"time"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/result/firm"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// severityVerdicts is the verdict that a severity is coloured by.
var severityVerdicts = map[firm.Severity]assessment.Verdict{firm.Failing: assessment.Fail, firm.Silent: assessment.Unproven, firm.Unproven: assessment.Unproven,
	firm.Sound: assessment.Pass}

// SeverityVerdict returns the verdict that a severity is coloured by; None for a site in repair.
func SeverityVerdict(s firm.Severity) assessment.Verdict { return severityVerdicts[s] }

// FleetHeadline counts the sites of a firm by severity, and returns the verdict on all of them.
func FleetHeadline(sites []*firm.Site) (text string, verdict assessment.Verdict) {
	counts := map[firm.Severity]int{}
	for _, s := range sites {
		counts[s.Severity]++
	}
	verdict = assessment.Pass
	switch {
	case counts[firm.Failing] > 0:
		verdict = assessment.Fail
	case counts[firm.Silent]+counts[firm.Unproven] > 0 || len(sites) == 0:
		verdict = assessment.Unproven
	}
	return fmt.Sprintf("%s: %d failing, %d silent, %d unproven, %d sound, %d in repair", number.Count(len(sites), "site"),
		counts[firm.Failing], counts[firm.Silent], counts[firm.Unproven], counts[firm.Sound], counts[firm.InRepair]), verdict
}

// HeardOf says how long ago the run of a site was heard of that is silent longest.
func HeardOf(s *firm.Site, now time.Time) string {
	if len(s.Runs) == 0 {
		return "never"
	}
	oldest := s.Runs[0].Heard
	for _, r := range s.Runs {
		if r.Heard.Before(oldest) { // zero is before all others
			oldest = r.Heard
		}
	}
	return HeardAgo(oldest, now)
}

// HeardAgo says how long ago something was heard of; zero = never.
func HeardAgo(at, now time.Time) string {
	switch ago := now.Sub(at); {
	case at.IsZero():
		return "never"
	case ago < 2*time.Minute:
		return "now"
	case ago < 2*time.Hour:
		return fmt.Sprintf("%.0f min ago", ago.Minutes())
	case ago < 48*time.Hour:
		return fmt.Sprintf("%.0f h ago", ago.Hours())
	default:
		return fmt.Sprintf("%.0f d ago", ago.Hours()/24)
	}
}

// ElementOf returns what a cause is about, such as "joint west-north".
func ElementOf(c firm.Cause) string {
	text := c.Kind + " " + c.Name
	if c.Rail != run.Loop.String() {
		text += " " + c.Rail
	}
	return text
}

// CauseLine is an element that fails, in words; resistances are in mΩ, or with Per in mΩ/m.
type CauseLine struct {
	Element, Verdict      string
	Ohms, Interval, Limit string // "–" = not known, or no such value
	Per                   string // " per m" of a resistance per metre
	Since, Reaches        string // dates; "" = not known
	Source                string // assess or drift
}

// CauseLineOf returns a cause in words, with the digits of the pages and tables that its source
// makes of the run itself.
func CauseLineOf(c firm.Cause) CauseLine {
	figure := number.Milliohms
	if c.Source == firm.Drift {
		figure = number.MilliohmTenths
	}
	shown := func(ohms float64) string {
		if math.IsNaN(ohms) {
			return "–"
		}
		return figure(ohms)
	}
	l := CauseLine{Element: printable.Line(ElementOf(c)), Verdict: VerdictWord(history.Verdict(c.Verdict)), Ohms: shown(c.Ohms), Interval: shown(c.Low) + " … " + shown(c.High),
		Limit: shown(c.Limit), Source: c.Source}
	if c.Source == firm.Assess && c.Kind == string(run.KindReel) {
		l.Per = " per m"
	}
	if c.Source == firm.Assess && math.IsNaN(c.Ohms) { // it fails, so that it is known as open
		l.Ohms, l.Interval = "open", shown(c.Low)+" … ∞"
	}
	if !c.Since.IsZero() {
		l.Since = c.Since.Format(time.DateOnly)
	}
	if !c.Reaches.IsZero() {
		l.Reaches = c.Reaches.Format(time.DateOnly)
	}
	return l
}

// Causes describes what fails at a site: at most so many elements, and how many more.
func Causes(s *firm.Site, most int) (all []string) {
	n := 0
	for _, r := range s.Runs {
		for _, c := range r.Causes {
			if n++; n > most {
				continue
			}
			l := CauseLineOf(c)
			text := l.Element + " " + l.Verdict
			switch {
			case l.Ohms == "–":
			case l.Ohms == "open":
				text += ", open"
			case l.Limit == "–":
				text += ", " + l.Ohms + " mΩ" + l.Per
			default:
				text += ", " + l.Ohms + " mΩ" + l.Per + " of at most " + l.Limit
			}
			if l.Reaches != "" {
				text += ", at its limit about " + l.Reaches
			}
			if len(s.Runs) > 1 {
				text = printable.Short(r.Name, 40) + ": " + text
			}
			all = append(all, text+" ("+l.Source+")")
		}
	}
	if n > most {
		all = append(all, fmt.Sprintf("and %d more", n-most))
	}
	return all
}

// ComparisonsHeadline says what is compared, and how many differences are shown.
func ComparisonsHeadline(all []firm.Comparison) string {
	shown := 0
	for _, c := range all {
		if c.Significant {
			shown++
		}
	}
	if len(all) == 0 {
		return "nothing can be compared: the run files state no joint type, batch, conductor or installer of more than one kind"
	}
	return fmt.Sprintf("%s of how fast resistances rise: %d with a difference shown, at a false discovery rate of %s",
		number.Count(len(all), "comparison"), shown, number.Percent(firm.FalseDiscoveryRate))
}

// Comparison is one comparison in words; changes are in percent of the resistance a year.
type Comparison struct {
	Group, Parts                  string // what is compared, such as "joint type crimp"; the parts of it, such as "joints"
	Runs                          string // of the group, and of the others
	PerYear, Difference, Interval string
	Result                        string // "difference shown", "no difference shown" or "too few runs"
}

// ComparisonOf returns a comparison in words.
func ComparisonOf(c firm.Comparison) Comparison {
	out := Comparison{Group: c.By + " " + c.Group, Parts: string(c.Kind) + "s", Runs: fmt.Sprintf("%d, %d", c.Runs, c.Others),
		PerYear: percentOf(c.PerYear), Difference: percentOf(c.Difference), Interval: "–", Result: "no difference shown"}
	if math.IsNaN(c.P) {
		out.Result = "too few runs"
		return out
	}
	if c.Significant {
		out.Result = "difference shown"
	}
	out.Interval = percentOf(c.Low) + " to " + percentOf(c.High)
	return out
}

// percentOf returns a fraction in percent with its sign.
func percentOf(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "–"
	}
	return strings.Replace(fmt.Sprintf("%+.1f", 100*x), "-", "−", 1)
}

package wording

import (
	"fmt"
	"math"
	"time"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// SeriesLine is the history of one element, in words.
type SeriesLine struct {
	Verdict               history.Verdict
	Word                  string // the verdict, for people
	Class                 string
	Label                 string
	Ohms, Interval, Limit string
	Rate                  string
	Over                  bool
	Remarks               []string
}

// changeWords are the first words of a change.
var changeWords = map[history.Shape]string{history.Jump: "jump on", history.Ramp: "drift since"}

// ChangeWord names the shape of a change.
func ChangeWord(s history.Shape) string {
	switch s {
	case history.Jump:
		return "jump"
	case history.Ramp:
		return "drift begins"
	}
	return string(s)
}

// VerdictWord is a verdict in words. A sudden change is called a jump, because a step is a load
// step.
func VerdictWord(v history.Verdict) string {
	if v == history.Jumped {
		return "jumped"
	}
	return string(v)
}

// GravestFirst returns the series with the gravest verdicts first.
func GravestFirst(series []history.Series) []history.Series {
	var sorted []history.Series
	for _, over := range []bool{true, false} {
		for _, v := range history.Verdicts {
			for _, s := range series {
				if s.Verdict == v && (s.Low > s.Limit) == over {
					sorted = append(sorted, s)
				}
			}
		}
	}
	return sorted
}

// DriftHeadline returns the verdict on the whole run in one line.
func DriftHeadline(h *history.History) (string, assessment.Verdict) {
	var changing, over, unproven []string
	for _, s := range GravestFirst(h.Series) {
		name := string(s.Kind) + " " + printable.Short(s.Name, 40)
		switch {
		case s.Verdict != history.Steady && s.Verdict != history.Unproven:
			changing = append(changing, clause(name, s.Verdict))
		case s.Low > s.Limit:
			over = append(over, name+" is over its limit")
		case s.Verdict == history.Unproven:
			unproven = append(unproven, name)
		}
	}
	switch all := append(changing, over...); {
	case len(h.Series) == 0:
		return "NOTHING TO FOLLOW: no two places with a known current between them have sensors", assessment.None
	case len(all) > 0:
		return "LOOK: " + Few(all), assessment.Fail
	case len(unproven) == len(h.Series):
		return "UNPROVEN: not enough readings to decide: " + Few(unproven), assessment.Unproven
	case len(unproven) > 0:
		return "STEADY as far as is known; not enough readings to decide: " + Few(unproven), assessment.Unproven
	}
	return fmt.Sprintf("STEADY: all %d", len(h.Series)), assessment.Pass
}

// SeriesVerdict returns the verdict of an assessment that is as grave as that of a series.
func SeriesVerdict(s history.Series) assessment.Verdict {
	switch {
	case s.Low > s.Limit:
		return assessment.Fail
	case s.Verdict == history.Unproven:
		return assessment.Unproven
	case s.Verdict == history.Steady:
		return assessment.Pass
	}
	return assessment.Fail
}

func SeriesLineOf(s history.Series) SeriesLine {
	l := SeriesLine{Verdict: s.Verdict, Word: VerdictWord(s.Verdict), Class: string(SeriesVerdict(s)), Label: string(s.Kind) + " " + printable.Short(s.Name, 40), Over: s.Low > s.Limit,
		Ohms: number.MilliohmTenths(s.Ohms), Interval: number.MilliohmTenths(s.Low) + " … " + number.MilliohmTenths(s.High), Limit: number.MilliohmTenths(s.Limit), Rate: "–"}
	if !math.IsNaN(s.PerYear) && !math.IsInf(s.PerYearLow, 0) {
		l.Rate = fmt.Sprintf("%s (%s … %s)", number.SignedTenths(s.PerYear), number.SignedTenths(s.PerYearLow), number.SignedTenths(s.PerYearHigh))
	}
	if s.Why != "" {
		l.Remarks = append(l.Remarks, s.Why)
	}
	for _, c := range s.Changes {
		switch c.Shape {
		case history.Burst:
			l.Remarks = append(l.Remarks, fmt.Sprintf("intermittent since %s: rises by about %s mΩ for a moment, again and again",
				c.Time.Format(time.DateOnly), number.MilliohmTenths(c.After-c.Before)))
		default:
			l.Remarks = append(l.Remarks, fmt.Sprintf("%s %s%s: %s → %s mΩ (%s)", changeWords[c.Shape], c.Time.Format(time.DateOnly), between(c),
				number.MilliohmTenths(c.Before), number.MilliohmTenths(c.After), number.SignedTenths(c.After-c.Before)))
		}
	}
	for _, m := range s.Marks {
		remark := fmt.Sprintf("%s, %s", m.Time.Format(time.DateOnly), printable.Short(m.Text, 120))
		if !math.IsNaN(m.Before) && !math.IsNaN(m.After) {
			remark += fmt.Sprintf(": %s mΩ before, %s after", number.MilliohmTenths(m.Before), number.MilliohmTenths(m.After))
		}
		l.Remarks = append(l.Remarks, remark)
	}
	switch moved := s.Verdict == history.Drifting || s.Verdict == history.Jumped; {
	case l.Over, moved && math.IsNaN(s.Limit):
		l.Remarks = append(l.Remarks, s.Reaches.Text)
	case moved:
		l.Remarks = append(l.Remarks, "reaches its limit: "+s.Reaches.Text)
	}
	if !s.TemperatureRead && !math.IsNaN(s.Ohms) {
		l.Remarks = append(l.Remarks, "no temperature is read: warm copper raises the figures")
	}
	return l
}

// between returns the 95 % interval of a change's date in words, "" where it is known within
// two days or no interval is known.
func between(c history.Change) string {
	if c.Latest.Sub(c.Earliest) <= 48*time.Hour {
		return ""
	}
	return fmt.Sprintf(" (%s to %s)", c.Earliest.Format(time.DateOnly), c.Latest.Format(time.DateOnly))
}

// clause returns the behaviour of an element in words.
func clause(name string, v history.Verdict) string {
	if v == history.Jumped {
		return name + " has jumped"
	}
	return name + " is " + string(v)
}

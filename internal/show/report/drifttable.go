package report

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/text/printable"
)

// driftLine is one element's row, in words.
type driftLine struct {
	Verdict               history.Verdict
	Class                 string
	Label                 string
	Ohms, Interval, Limit string
	Rate                  string
	Over                  bool
	Remarks               []string
}

// GravestFirst gives the series in the order in which a person should look at them.
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

// driftHeadline says what the whole run does, in one line.
func driftHeadline(h *history.History) (string, assessment.Verdict) {
	var going, over, open []string
	for _, s := range GravestFirst(h.Series) {
		name := string(s.Kind) + " " + printable.Short(s.Name, 40)
		switch {
		case s.Verdict != history.Steady && s.Verdict != history.Unproven:
			going = append(going, fmt.Sprintf("%s is %s", name, s.Verdict))
		case s.Low > s.Limit:
			over = append(over, name+" is over its limit")
		case s.Verdict == history.Unproven:
			open = append(open, name)
		}
	}
	switch all := append(going, over...); {
	case len(h.Series) == 0:
		return "NOTHING TO FOLLOW: no two places with a current between them are sensed", assessment.None
	case len(all) > 0:
		return "LOOK: " + few(all), assessment.Fail
	case len(open) > 0:
		return "STEADY as far as can be told; unproven: " + few(open), assessment.Unproven
	}
	return fmt.Sprintf("STEADY: all %d", len(h.Series)), assessment.Pass
}

// driftClass is the verdict of an assessment that is as grave.
func driftClass(s history.Series) assessment.Verdict {
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

func driftLineOf(s history.Series) driftLine {
	l := driftLine{Verdict: s.Verdict, Class: string(driftClass(s)), Label: string(s.Kind) + " " + printable.Short(s.Name, 40), Over: s.Low > s.Limit,
		Ohms: tenths(s.Ohms), Interval: tenths(s.Low) + " … " + tenths(s.High), Limit: tenths(s.Limit), Rate: "–"}
	if !math.IsNaN(s.PerYear) && !math.IsInf(s.PerYearLow, 0) {
		l.Rate = fmt.Sprintf("%s (%s … %s)", signed(s.PerYear), signed(s.PerYearLow), signed(s.PerYearHigh))
	}
	if s.Why != "" {
		l.Remarks = append(l.Remarks, s.Why)
	}
	for _, c := range s.Changes {
		switch c.Shape {
		case history.Burst:
			l.Remarks = append(l.Remarks, fmt.Sprintf("intermittent since %s: by about %s mΩ for a moment, again and again",
				c.Time.Format(time.DateOnly), tenths(c.After-c.Before)))
		default:
			l.Remarks = append(l.Remarks, fmt.Sprintf("%s on %s: %s → %s mΩ (%s)", c.Shape, c.Time.Format(time.DateOnly),
				tenths(c.Before), tenths(c.After), signed(c.After-c.Before)))
		}
	}
	for _, m := range s.Marks {
		remark := fmt.Sprintf("%s, %s", m.Time.Format(time.DateOnly), printable.Short(m.Text, 120))
		if !math.IsNaN(m.Before) && !math.IsNaN(m.After) {
			remark += fmt.Sprintf(": %s mΩ before, %s after", tenths(m.Before), tenths(m.After))
		}
		l.Remarks = append(l.Remarks, remark)
	}
	if s.Verdict == history.Drifting || s.Verdict == history.Stepped || l.Over {
		l.Remarks = append(l.Remarks, "limit: "+s.Reaches.Text)
	}
	if !s.Warm && len(s.Nights) > 0 {
		l.Remarks = append(l.Remarks, "no temperature is read: warm copper is in the figures")
	}
	return l
}

// tenths writes ohms as milliohms.
func tenths(ohms float64) string {
	switch {
	case math.IsNaN(ohms):
		return "–"
	case math.IsInf(ohms, 1):
		return "∞"
	case math.IsInf(ohms, -1):
		return "−∞"
	}
	return strings.Replace(fmt.Sprintf("%.1f", 1e3*ohms), "-", "−", 1)
}

func signed(ohms float64) string {
	if s := tenths(ohms); ohms < 0 || math.IsNaN(ohms) || math.IsInf(ohms, 0) {
		return s
	}
	return "+" + tenths(ohms)
}

// DriftTable writes a history as plain text of at most 80 columns, the gravest first.
// colour adds ANSI colours to the words. The error is the writer's.
func DriftTable(w io.Writer, h *history.History, colour bool) error {
	t := table{w: bufio.NewWriter(w), colour: colour}
	headline, verdict := driftHeadline(h)
	t.wrapped("", headline, 0, verdict)
	if name := nameOf(h.Run); name != "" {
		t.wrapped("", "Run: "+printable.Short(name, 120), 0, assessment.None)
	}
	if len(h.Series) > 0 {
		fmt.Fprintf(t.w, "\n%s%s%12s  %17s  %7s\n", left("", driftWord), left("", nameWidth-4), "mΩ at 20 °C", "95 % interval", "limit")
	}
	for _, s := range GravestFirst(h.Series) {
		l := driftLineOf(s)
		word := string(l.Verdict)
		gap := strings.Repeat(" ", max(1, driftWord-len(word)))
		fmt.Fprintln(t.w, strings.TrimRight(fmt.Sprintf("%s%s%s %s  %17s  %7s", t.paint(word, driftClass(s)), gap, left(l.Label, nameWidth-4),
			right(l.Ohms, 11), right(l.Interval, 17), right(l.Limit, 7)), " "))
		if l.Rate != "–" {
			t.wrapped("", "a year: "+l.Rate+" mΩ", driftWord+2, assessment.None)
		}
		for _, remark := range l.Remarks {
			t.wrapped("", remark, driftWord+2, assessment.None)
		}
	}
	if !h.Last.IsZero() {
		check := "no check step was ever shown: joints and reels cannot be followed"
		if !h.Check.IsZero() {
			check = "last check step " + h.Check.Format(time.DateOnly)
		}
		fmt.Fprintf(t.w, "\nlast reading %s; %s\n", h.Last.Format(time.DateOnly), check)
	}
	return t.w.Flush()
}

const driftWord = 14 // the widest verdict and the gap behind it

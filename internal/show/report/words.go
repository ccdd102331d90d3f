package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/chart"
	"ohmkeep/internal/text/printable"
)

// line is one element as a person reads it; resistances are in mΩ or mΩ/m.
type line struct {
	Verdict   assessment.Verdict
	Label     string
	Value     string
	Unit      string
	Low, High string
	Limit     string // "" where it has none
	Over      string // chance of being over the limit, "" where it has none or nothing is known
	Remark    string // what it behaves like, what heat it makes
}

func lineOf(e assessment.Element) line {
	l := line{Verdict: e.Verdict, Label: chart.Label(e), Value: chart.Milliohms(e.Ohms), Unit: "mΩ",
		Low: chart.Milliohms(e.Low), High: chart.Milliohms(e.High)}
	if e.Kind == assessment.Reel {
		l.Unit = "mΩ/m"
	}
	switch {
	case e.Open():
		l.Value, l.Unit, l.High = "open", "", "∞"
	case seemsOpen(e):
		l.Value, l.Unit = "open?", ""
	case !e.Known:
		l.Value = "(" + l.Value + ")"
	}
	if !math.IsNaN(e.Limit) {
		l.Limit = chart.Milliohms(e.Limit)
	}
	if e.Known && !math.IsNaN(e.Over) {
		l.Over = chance(e.Over)
	}
	var remarks []string
	if e.Like != "" {
		remarks = append(remarks, "behaves like "+printable.Short(e.Like, 80))
	}
	if heat := heat(e); heat != "" {
		remarks = append(remarks, heat)
	}
	l.Remark = strings.Join(remarks, "; ")
	return l
}

// seemsOpen tells whether a joint or feed has a best value that nothing which conducts
// has (common practice, no source) and no upper bound, while the readings do not prove it
// open: the value is only where the fit stopped.
func seemsOpen(e assessment.Element) bool {
	const conducting = 10 // Ω
	return (e.Kind == assessment.Joint || e.Kind == assessment.Feed) && e.Known && !e.Open() && e.Ohms >= conducting && math.IsInf(e.High, 1)
}

// heat says what an element turns into warmth where that is worth a thought.
func heat(e assessment.Element) string {
	const noticeable = 0.1 // W; common practice, no source: a joint this warm can be felt
	if !(e.Watts >= noticeable && e.Watts < 1e6 && e.Amps < 1e6) || e.Kind == assessment.Reel || e.Kind == assessment.Supply || e.Open() || seemsOpen(e) {
		return ""
	}
	return figures(e.Watts, 2) + " W of heat at " + figures(e.Amps, 3) + " A"
}

// chance writes a probability without ever rounding it to certainty.
func chance(p float64) string {
	switch percent := p * 100; {
	case math.IsNaN(percent):
		return "?"
	case percent < 0.1:
		return "< 0.1 %"
	case percent > 99.9:
		return "> 99.9 %"
	case percent < 10:
		return strconv.FormatFloat(percent, 'f', 1, 64) + " %"
	default:
		return strconv.FormatFloat(percent, 'f', 0, 64) + " %"
	}
}

// figures writes a value with so many significant digits, "?" for what is not finite.
func figures(v float64, n int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "?"
	}
	if size := math.Abs(v); size >= math.Pow10(n)-0.5 && size < 1e9 {
		return strconv.FormatFloat(v, 'f', 0, 64) // no exponent for what people count in
	}
	return strconv.FormatFloat(v, 'g', n, 64)
}

// alarm says why no number of an assessment is to be relied on; "" where some are.
func alarm(a *assessment.Assessment) string {
	switch {
	case a.Fit.Converged:
		return ""
	case a.Unread():
		return "Nothing was read, so nothing is proven: these are the run file's own figures."
	}
	return "The fit found no answer: rely on none of these numbers."
}

// fitText says how well the fitted run explains the readings.
func fitText(f assessment.Fit) string {
	return fmt.Sprintf("chi-squared %s with %d degrees of freedom, p = %s", figures(f.ChiSquared, 3), f.DegreesOfFreedom, figures(f.PValue, 2))
}

// units are the symbols of the quantities.
var units = map[run.Quantity]string{run.Voltage: "V", run.Current: "A", run.Temperature: "°C"}

// said writes an SI value, never with an exponent: tenths of a millivolt below
// 0.1 V, millivolts below 100 V.
func said(q run.Quantity, v float64) string {
	digits := 3
	switch size := math.Abs(v); {
	case q == run.Temperature:
		digits = 1
	case size < 0.1:
		digits = 4
	case size >= 100:
		digits = 1
	}
	text := fixed(v, digits)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-")
	}
	return strings.Replace(text, "-", "−", 1) + " " + units[q]
}

// inUnit writes an SI value in the unit that a reading was written in.
func inUnit(unit string, q run.Quantity, v float64) string {
	switch unit {
	case "mV", "mA":
		return strings.Replace(fixed(v*1e3, 2), "-", "−", 1) + " " + unit
	case "uV", "uA":
		return strings.Replace(fixed(v*1e6, 0), "-", "−", 1) + " " + unit
	}
	return said(q, v)
}

// between says where something is or should be read.
func between(q run.Quantity, from, to string) string {
	from, to = printable.Short(from, 40), printable.Short(to, 40)
	switch {
	case q == run.Current:
		return "current through feed " + from
	case q == run.Temperature:
		return "temperature of " + from
	case to == "":
		return "voltage at " + from
	}
	return "voltage from " + from + " to " + to
}

// inStep names a step, "" where it is not known.
func inStep(step string) string {
	if step == "" {
		return ""
	}
	return ` in step "` + printable.Short(step, 40) + `"`
}

// suspectText says what is odd about a reading.
func suspectText(r assessment.Reading) string {
	text := fmt.Sprintf("%s%s is %s where the others make it %s", between(r.Quantity, r.From, r.To), inStep(r.Step),
		said(r.Quantity, r.Value), said(r.Quantity, r.Predicted))
	if r.Note != "" {
		text += "; " + printable.Line(r.Note)
	}
	return text
}

// nextText says what to read and what for; and with which meter, where a run has several.
func nextText(r *run.Run, n assessment.Next) string {
	text := between(n.Quantity, n.From, n.To) + inStep(n.Step)
	if r != nil && len(r.Meters) > 1 && n.Meter != "" {
		text += " with meter " + printable.Short(n.Meter, 40)
	}
	if len(n.Settles) == 0 {
		return text
	}
	names := make([]string, len(n.Settles))
	for i, s := range n.Settles {
		names[i] = printable.Short(s, 40)
	}
	return text + ": settles " + few(names)
}

// capital gives a sentence its first letter; ours all begin with ASCII.
func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

package wording

import (
	"math"
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// Line is one element in words; resistances are in mΩ or mΩ/m.
type Line struct {
	Verdict   assessment.Verdict
	Label     string
	Value     string
	Unit      string
	Low, High string
	Limit     string // "" where it has none
	Over      string // chance of being over the limit, "" where it has none or nothing is known
	Remark    string // what it behaves like, what heat it makes
}

func LineOf(e assessment.Element) Line {
	l := Line{Verdict: e.Verdict, Label: Label(e), Value: number.Milliohms(e.Ohms), Unit: "mΩ",
		Low: number.Milliohms(e.Low), High: number.Milliohms(e.High)}
	if e.Kind == run.KindReel {
		l.Unit = "mΩ/m"
	}
	switch {
	case e.Open():
		l.Value, l.Unit, l.High = "open", "", "∞"
	case SeemsOpen(e):
		l.Value, l.Unit = "open?", ""
	case !e.Known:
		l.Value = "(" + l.Value + ")"
	}
	if !math.IsNaN(e.Limit) {
		l.Limit = number.Milliohms(e.Limit)
	}
	if e.Known && !math.IsNaN(e.ProbabilityOverLimit) {
		l.Over = number.Chance(e.ProbabilityOverLimit)
	}
	var remarks []string
	if e.BehavesLike != "" {
		remarks = append(remarks, "behaves like "+printable.Short(e.BehavesLike, 80))
	}
	if heat := heat(e); heat != "" {
		remarks = append(remarks, heat)
	}
	l.Remark = strings.Join(remarks, "; ")
	return l
}

// Endless reports whether nothing that was read sets an upper end to the interval of an element that may
// conduct.
func Endless(e assessment.Element) bool { return !e.Open() && math.IsInf(e.High, 1) }

// SeemsOpen reports whether a joint or feed has a best value higher than any conducting one (common
// practice, no source) and no upper bound, while the readings do not prove it open. The value
// is then only the point at which the fit stopped.
func SeemsOpen(e assessment.Element) bool {
	const conducting = 10 // Ω
	return (e.Kind == run.KindJoint || e.Kind == run.KindFeed) && e.Known && !e.Open() && e.Ohms >= conducting && math.IsInf(e.High, 1)
}

// heat returns the heat in an element in words; "" where it is too little to notice.
func heat(e assessment.Element) string {
	const noticeable = 0.1 // W; common practice, no source: a joint this warm can be felt
	if !(e.Watts >= noticeable && e.Watts < 1e6 && e.Amps < 1e6) || e.Kind == run.KindReel || e.Kind == run.KindSupply || e.Open() || SeemsOpen(e) {
		return ""
	}
	return number.Figures(e.Watts, 2) + " W of heat at " + number.Figures(e.Amps, 3) + " A"
}

// Label names an element with the conductor it covers, such as "joint
// west-north minus".
func Label(e assessment.Element) string {
	label := string(e.Kind) + " " + printable.Short(e.Name, 40)
	if e.Rail == run.Plus || e.Rail == run.Minus {
		label += " " + e.Rail.String()
	}
	return label
}

package wording

import (
	"fmt"
	"math"
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/text/number"
	"ohmkeep/internal/text/printable"
)

// units are the symbols of the quantities.
var units = map[run.Quantity]string{run.Voltage: "V", run.Current: "A", run.Temperature: "°C"}

// Value writes an SI value, never with an exponent: tenths of a millivolt below
// 0.1 V, millivolts below 100 V.
func Value(q run.Quantity, v float64) string {
	digits := 3
	switch size := math.Abs(v); {
	case q == run.Temperature:
		digits = 1
	case size < 0.1:
		digits = 4
	case size >= 100:
		digits = 1
	}
	text := number.Fixed(v, digits)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-")
	}
	return strings.Replace(text, "-", "−", 1) + " " + units[q]
}

// InUnit writes an SI value in the unit that a reading was written in.
func InUnit(unit string, q run.Quantity, v float64) string {
	switch unit {
	case "mV", "mA":
		return strings.Replace(number.Fixed(v*1e3, 2), "-", "−", 1) + " " + unit
	case "uV", "uA":
		return strings.Replace(number.Fixed(v*1e6, 0), "-", "−", 1) + " " + unit
	}
	return Value(q, v)
}

// Between returns the points between which something is or should be read.
func Between(q run.Quantity, from, to string) string {
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

// InStep names a step, "" where it is not known.
func InStep(step string) string {
	if step == "" {
		return ""
	}
	return ` in step "` + printable.Short(step, 40) + `"`
}

// Suspect returns in words why a reading is suspect.
func Suspect(r assessment.Reading) string {
	text := fmt.Sprintf("%s%s is %s where the others make it %s", Between(r.Quantity, r.From, r.To), InStep(r.Step),
		Value(r.Quantity, r.Value), Value(r.Quantity, r.Predicted))
	if r.Note != "" {
		text += "; " + printable.Line(r.Note)
	}
	return text
}

// Next returns what to read and what it would decide, with the meter if a run has several.
func Next(r *run.Run, n assessment.Next) string {
	text := Between(n.Quantity, n.From, n.To) + WithLead(n) + InStep(n.Step)
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
	return text + ", to decide " + Few(names)
}

// WithLead returns the length of the lead that a reading along one conductor needs, in words.
func WithLead(n assessment.Next) string {
	if n.Lead == 0 {
		return ""
	}
	return fmt.Sprintf(" with a lead of %.2g m", math.Ceil(10*n.Lead)/10)
}

// Capital returns a sentence with its first letter in upper case; it must begin with ASCII.
func Capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

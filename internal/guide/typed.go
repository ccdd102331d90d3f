package guide

import (
	"fmt"
	"regexp"
	"strings"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
)

// thousands matches a number whose comma may be decimal or stand between thousands.
var thousands = regexp.MustCompile(`^[+-]?[1-9]\d{0,2},\d{3}$`)

// Typed returns the reading that a person has typed, as the meter displays it. Its text has a decimal point
// also where a decimal comma was typed. The error is a fault.Fault: for a text that is no number, for an
// overload sign, and for a comma that may be decimal or stand between thousands within the meter's ranges.
func (s *Session) Typed(n assessment.Next, text, unit string) (reading.Reading, error) {
	x := reading.Reading{Time: s.config.Now(), Step: n.Step, Quantity: n.Quantity, From: n.From, To: n.To, Unit: unit, Meter: s.TypedMeter(n)}
	text = strings.TrimSpace(text)
	switch {
	case text == "":
		return x, fault.Fault{Text: "no value was typed", Hint: "such as 4.812"}
	case reading.IsOverload(text):
		return x, fault.Fault{Text: "the meter is beyond its range: take a larger range"}
	}
	x.Text = text
	if point := strings.Replace(text, ",", ".", 1); reading.IsDecimal(point) {
		x.Text = point
	}
	var err error
	if x.Value, err = reading.Value(n.Quantity, x.Text, unit); err != nil || !thousands.MatchString(text) {
		return x, err
	}
	whole := strings.Replace(text, ",", "", 1)
	large, err := reading.Value(n.Quantity, whole, unit)
	if i := s.config.Run.MeterIndex(x.Meter); err != nil || i >= 0 && !s.config.Run.Meters[i].Shows(n.Quantity, large) {
		return x, nil
	}
	return x, fault.Fault{Key: "value", Text: fmt.Sprintf("%q can be %s and %s", text, x.Text, whole), Hint: "decimals are set off by a point"}
}

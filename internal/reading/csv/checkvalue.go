package csv

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// CheckValue checks the number, its unit, and whether the meter can show it.
func (c *checker) CheckValue(x *reading.Reading, text, unit, meter string) {
	m := meterOf(c.run, meter, x.Quantity)
	bad := !c.number(x, text, unit, m)
	if m < 0 {
		c.Complain(x.Row, "meter", unknown("meter", meter, namesOf(c.run.Meters, func(m run.Meter) string { return m.Name })))
		return
	}
	x.Meter = c.run.Meters[m].Name
	top, measures := maxValue(c.run.Meters[m], x.Quantity)
	switch {
	case !measures && x.Quantity != run.Temperature:
		c.Complain(x.Row, "meter", fault.Fault{Text: fmt.Sprintf("meter %q has no %s range", x.Meter, x.Quantity),
			Hint: "add a [[meter.range]] for it to the run file"})
	case !bad && !c.run.Meters[m].Shows(x.Quantity, x.Value):
		c.Complain(x.Row, "value", fault.Fault{
			Text: fmt.Sprintf("%s %s is more than meter %q can show", x.Text, x.Unit, x.Meter),
			Hint: fmt.Sprintf("its ranges end at %g %s", top, reading.Unit(x.Quantity))})
	}
}

// number fills in text, unit and value of a reading, or its mark of overload, and reports
// whether they are right.
func (c *checker) number(x *reading.Reading, text, unit string, meter int) bool {
	if reading.IsOverload(text) {
		x.Text, x.Unit, x.Quality = strings.Clone(text), reading.Unit(x.Quantity), reading.Overload
		return true
	}
	plain, wrong := c.dialect.number(text, func(number string) bool { return shows(c.run, x.Quantity, meter, number, unit) })
	if wrong != nil {
		c.Complain(x.Row, "value", *wrong)
		return false
	}
	if unit == "" && reading.IsDecimal(plain) {
		if unit, wrong = c.dialect.unit(plain, x.Quantity, meter, c.run); wrong != nil {
			c.Complain(x.Row, "unit", *wrong)
			return false
		}
	}
	value, err := reading.Value(x.Quantity, plain, unit)
	if f, bad := errors.AsType[fault.Fault](err); bad {
		c.Complain(x.Row, f.Key, f)
		return false
	}
	x.Text, x.Unit, x.Value = strings.Clone(plain), c.intern(unit), value
	return true
}

// meterOf returns the index of the named meter, or for "" that of the first meter that measures the
// quantity; -1 if there is none.
func meterOf(r *run.Run, name string, q run.Quantity) int {
	if name != "" {
		return r.MeterIndex(name)
	}
	return max(0, slices.IndexFunc(r.Meters, func(m run.Meter) bool {
		_, measures := maxValue(m, q)
		return measures
	}))
}

// maxValue returns the largest value of a quantity that a meter can show; measures is
// false where it has no range for it.
func maxValue(m run.Meter, q run.Quantity) (top float64, measures bool) {
	for _, r := range m.Ranges {
		if r.Quantity == q {
			top, measures = max(top, r.UpTo), true
		}
	}
	return top, measures
}

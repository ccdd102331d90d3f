package csv

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// checker turns rows into readings of a run and gathers what is wrong with them.
type checker struct {
	file   string
	run    *run.Run
	faults fault.List

	// Names come back in every row: each is kept once instead of in every
	// reading, and each point is looked up once.
	names  map[string]string
	points map[string]spot

	zones map[string]*time.Location // by offset from UTC as written, such as +01:00
	text  []byte

	dialect *dialect
}

// spot is the result of looking up the name of a point in the run.
type spot struct {
	point run.Point
	err   error
}

func newChecker(file string, r *run.Run) *checker {
	return &checker{file: file, run: r, names: map[string]string{}, points: map[string]spot{}, zones: map[string]*time.Location{}, dialect: contractForm()}
}

// Complain adds a fault of a column of a line.
func (c *checker) Complain(line int, column string, f fault.Fault) {
	f.File, f.Line, f.Key = c.file, line, column
	c.faults.Add(f)
}

// FaultCount returns the number of faults so far.
func (c *checker) FaultCount() int { return len(c.faults) }

// RunName returns the name of the run.
func (c *checker) RunName() string { return c.run.Name }

// fill puts the fields of a row, in the order of columns, into a reading and
// notes all that is wrong with them.
func (c *checker) fill(x *reading.Reading, row []string) {
	c.time(x, row[timeColumn])
	x.Step, x.From, x.To = row[stepColumn], row[fromColumn], row[toColumn]
	q := slices.Index(run.QuantityNames, row[quantityColumn])
	if q < 0 {
		c.step(x)
		c.Complain(x.Row, "quantity", unknown("quantity", row[quantityColumn], run.QuantityNames))
		return // what the other fields must be depends on it
	}
	x.Quantity = run.Quantity(q)
	c.CheckPlaces(x)
	c.CheckValue(x, row[valueColumn], row[unitColumn], row[meterColumn])
}

// CheckPlaces checks the step and the places of a reading, and replaces their names by copies.
func (c *checker) CheckPlaces(x *reading.Reading) {
	c.step(x)
	x.From, x.To = c.keep(x.From), c.keep(x.To)
	switch x.Quantity {
	case run.Voltage:
		c.pair(x)
	case run.Current:
		c.feed(x)
	case run.Temperature:
		c.body(x)
	}
}

func (c *checker) time(x *reading.Reading, text string) {
	var ok bool
	if x.Time, ok = c.moment(text); !ok {
		var wrong *fault.Fault
		if x.Time, wrong = c.dialect.time(text); wrong != nil {
			c.Complain(x.Row, "time", *wrong)
			return
		}
	}
	c.CheckTime(x)
}

// moment parses a time like parseTime, but shares the zones of rows.
func (c *checker) moment(text string) (time.Time, bool) {
	n := len(text) - len("+01:00")
	if n < 0 || text[len(text)-1] == 'Z' {
		return parseTime(text)
	}
	zone, ok := c.Zone(text[n:])
	if !ok {
		return time.Time{}, false
	}
	c.text = append(append(c.text[:0], text[:n]...), 'Z')
	t, ok := parseTime(string(c.text))
	_, offset := t.In(zone).Zone()
	return t.Add(-time.Duration(offset) * time.Second).In(zone), ok
}

// Zone returns the zone of an offset from UTC. The package time would name this machine's
// own where the offset happens to be the same.
func (c *checker) Zone(offset string) (*time.Location, bool) {
	if zone, known := c.zones[offset]; known {
		return zone, true
	}
	t, ok := parseTime("2000-01-01T00:00:00" + offset)
	if !ok {
		return time.UTC, false
	}
	zone := reading.InOffset(t).Location()
	c.zones[strings.Clone(offset)] = zone
	return zone, true
}

// CheckTime checks that a time can be stored.
func (c *checker) CheckTime(x *reading.Reading) {
	if !reading.Storable(x.Time) {
		c.Complain(x.Row, "time", fault.Fault{Text: x.Time.Format(time.RFC3339Nano) + " lies outside the years 1970 to 2262"})
	}
}

func (c *checker) step(x *reading.Reading) {
	if x.Step != "" && c.run.StepIndex(x.Step) < 0 {
		c.Complain(x.Row, "step", unknown("step", x.Step, namesOf(c.run.Steps, func(s run.Step) string { return s.Name })))
	}
	x.Step = c.keep(x.Step)
}

// pair checks the two points of a voltage.
func (c *checker) pair(x *reading.Reading) {
	from, fromOK := c.point(x.Row, "from", x.From)
	to, toOK := c.point(x.Row, "to", x.To)
	if fromOK && toOK && from == to {
		c.Complain(x.Row, "to", fault.Fault{Text: fmt.Sprintf("%s is the same point as %s", x.To, x.From),
			Hint: "a voltage is between two points"})
	}
}

func (c *checker) point(line int, column, name string) (run.Point, bool) {
	if name == "" {
		c.Complain(line, column, fault.Fault{Text: "a voltage needs a point here", Hint: "such as west.start+"})
		return run.Point{}, false
	}
	found, known := c.points[name]
	if !known {
		found.point, found.err = c.run.Point(name)
		c.points[name] = found
	}
	if found.err == nil {
		return found.point, true
	}
	f, ok := errors.AsType[fault.Fault](found.err)
	if !ok {
		f.Text = found.err.Error()
	}
	c.Complain(line, column, f)
	return run.Point{}, false
}

// feed checks the place of a current.
func (c *checker) feed(x *reading.Reading) {
	if c.run.FeedIndex(x.From) < 0 {
		c.Complain(x.Row, "from", unknown("feed", x.From, namesOf(c.run.Feeds, func(f run.Feed) string { return f.Name })))
	}
	c.empty(x, "a current is taken through one feed")
}

// body checks the place of a temperature.
func (c *checker) body(x *reading.Reading) {
	if c.run.ReelIndex(x.From) < 0 && c.run.FeedIndex(x.From) < 0 {
		names := append(namesOf(c.run.Reels, func(r run.Reel) string { return r.Name }),
			namesOf(c.run.Feeds, func(f run.Feed) string { return f.Name })...)
		c.Complain(x.Row, "from", unknown("reel or feed", x.From, names))
	}
	c.empty(x, "a temperature is taken at one reel or feed")
}

func (c *checker) empty(x *reading.Reading, why string) {
	if x.To != "" {
		c.Complain(x.Row, "to", fault.Fault{Text: fmt.Sprintf("%q does not belong here", x.To), Hint: why + "; leave it empty"})
	}
}

// CheckValue checks the number, its unit, and whether the meter can show it.
func (c *checker) CheckValue(x *reading.Reading, text, unit, meter string) {
	m := meterOf(c.run, meter, x.Quantity)
	bad := !c.number(x, text, unit, m)
	if m < 0 {
		c.Complain(x.Row, "meter", unknown("meter", meter, namesOf(c.run.Meters, func(m run.Meter) string { return m.Name })))
		return
	}
	x.Meter = c.run.Meters[m].Name
	top, measures := reach(c.run.Meters[m], x.Quantity)
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
	x.Text, x.Unit, x.Value = strings.Clone(plain), c.keep(unit), value
	return true
}

// meterOf returns the index of the named meter, or for "" that of the first meter that measures the
// quantity; -1 if there is none.
func meterOf(r *run.Run, name string, q run.Quantity) int {
	if name != "" {
		return r.MeterIndex(name)
	}
	return max(0, slices.IndexFunc(r.Meters, func(m run.Meter) bool {
		_, measures := reach(m, q)
		return measures
	}))
}

// keep returns one and the same string for every name that is spelt alike.
func (c *checker) keep(name string) string {
	kept, ok := c.names[name]
	if !ok {
		kept = strings.Clone(name)
		c.names[kept] = kept
	}
	return kept
}

// reach returns the largest value of a quantity that a meter can show; measures is
// false where it has no range for it.
func reach(m run.Meter, q run.Quantity) (top float64, measures bool) {
	for _, r := range m.Ranges {
		if r.Quantity == q {
			top, measures = max(top, r.UpTo), true
		}
	}
	return top, measures
}

// unknown returns the fault of an unknown name, with the most similar known one.
func unknown(what, name string, known []string) fault.Fault {
	if name == "" {
		return fault.Fault{Text: "the field is empty", Hint: "it names a " + what}
	}
	return fault.Fault{Text: fmt.Sprintf("no %s is named %q", what, name), Hint: fault.Suggest(name, known)}
}

func namesOf[T any](all []T, name func(T) string) []string {
	var names []string
	for _, one := range all {
		names = append(names, name(one))
	}
	return names
}

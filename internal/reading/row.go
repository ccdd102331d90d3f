package reading

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"ohmkeep/internal/fault"
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
}

// spot is what the run says to the name of a point.
type spot struct {
	point run.Point
	err   error
}

func newChecker(file string, r *run.Run) *checker {
	return &checker{file: file, run: r, names: map[string]string{}, points: map[string]spot{}}
}

// complain notes what is wrong with a column of a line.
func (c *checker) complain(line int, column string, f fault.Fault) {
	f.File, f.Line, f.Key = c.file, line, column
	c.faults.Add(f)
}

// fill puts the fields of a row, in the order of columns, into a reading and
// notes all that is wrong with them.
func (c *checker) fill(x *Reading, row []string) {
	c.time(x, row[timeColumn])
	c.step(x, row[stepColumn])
	q := slices.Index(run.QuantityNames, row[quantityColumn])
	if q < 0 {
		c.complain(x.Row, "quantity", unknown("quantity", row[quantityColumn], run.QuantityNames))
		return // what the other fields must be depends on it
	}
	x.Quantity = run.Quantity(q)
	x.From, x.To = c.keep(row[fromColumn]), c.keep(row[toColumn])
	switch x.Quantity {
	case run.Voltage:
		c.pair(x)
	case run.Current:
		c.feed(x)
	case run.Temperature:
		c.body(x)
	}
	c.value(x, row[valueColumn], row[unitColumn], row[meterColumn])
}

func (c *checker) time(x *Reading, text string) {
	var ok bool
	if x.Time, ok = parseTime(text); !ok {
		c.complain(x.Row, "time", fault.Fault{Text: fmt.Sprintf("%q is not a time as in RFC 3339", text),
			Hint: "such as 2026-03-01T19:30:00+01:00"})
		return
	}
	if !Storable(x.Time) {
		c.complain(x.Row, "time", fault.Fault{Text: text + " lies outside the years 1970 to 2262"})
		return
	}
	// The package time would name this machine's own zone where the offset
	// happens to be the same.
	x.Time = InOffset(x.Time)
}

func (c *checker) step(x *Reading, name string) {
	if name != "" && c.run.StepIndex(name) < 0 {
		c.complain(x.Row, "step", unknown("step", name, namesOf(c.run.Steps, func(s run.Step) string { return s.Name })))
	}
	x.Step = c.keep(name)
}

// pair checks the two points of a voltage.
func (c *checker) pair(x *Reading) {
	from, fromOK := c.point(x.Row, "from", x.From)
	to, toOK := c.point(x.Row, "to", x.To)
	if fromOK && toOK && from == to {
		c.complain(x.Row, "to", fault.Fault{Text: fmt.Sprintf("%s is the same point as %s", x.To, x.From),
			Hint: "a voltage stands between two points"})
	}
}

func (c *checker) point(line int, column, name string) (run.Point, bool) {
	if name == "" {
		c.complain(line, column, fault.Fault{Text: "a voltage needs a point here", Hint: "such as west.start+"})
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
	c.complain(line, column, f)
	return run.Point{}, false
}

// feed checks the place of a current.
func (c *checker) feed(x *Reading) {
	if c.run.FeedIndex(x.From) < 0 {
		c.complain(x.Row, "from", unknown("feed", x.From, namesOf(c.run.Feeds, func(f run.Feed) string { return f.Name })))
	}
	c.empty(x, "a current is taken through one feed")
}

// body checks the place of a temperature.
func (c *checker) body(x *Reading) {
	if c.run.ReelIndex(x.From) < 0 && c.run.FeedIndex(x.From) < 0 {
		names := append(namesOf(c.run.Reels, func(r run.Reel) string { return r.Name }),
			namesOf(c.run.Feeds, func(f run.Feed) string { return f.Name })...)
		c.complain(x.Row, "from", unknown("reel or feed", x.From, names))
	}
	c.empty(x, "a temperature is taken at one reel or feed")
}

func (c *checker) empty(x *Reading, why string) {
	if x.To != "" {
		c.complain(x.Row, "to", fault.Fault{Text: fmt.Sprintf("%q does not belong here", x.To), Hint: why + "; leave it empty"})
	}
}

// value checks the number, its unit, and whether the meter can show it.
func (c *checker) value(x *Reading, text, unit, meter string) {
	value, err := Value(x.Quantity, text, unit)
	f, bad := errors.AsType[fault.Fault](err)
	if bad {
		c.complain(x.Row, f.Key, f)
	}
	x.Text, x.Unit, x.Value = strings.Clone(text), c.keep(unit), value

	m := c.run.MeterIndex(meter)
	if meter == "" {
		m = max(0, slices.IndexFunc(c.run.Meters, func(m run.Meter) bool {
			_, measures := reach(m, x.Quantity)
			return measures
		}))
	}
	if m < 0 {
		c.complain(x.Row, "meter", unknown("meter", meter, namesOf(c.run.Meters, func(m run.Meter) string { return m.Name })))
		return
	}
	x.Meter = c.run.Meters[m].Name
	top, measures := reach(c.run.Meters[m], x.Quantity)
	switch {
	case !measures && x.Quantity != run.Temperature:
		c.complain(x.Row, "meter", fault.Fault{Text: fmt.Sprintf("meter %q has no %s range", x.Meter, x.Quantity),
			Hint: "add a [[meter.range]] for it to the run file"})
	case !bad && !c.run.Meters[m].Shows(x.Quantity, value):
		c.complain(x.Row, "value", fault.Fault{
			Text: fmt.Sprintf("%s %s is more than meter %q can show", text, unit, x.Meter),
			Hint: fmt.Sprintf("its ranges end at %g %s", top, unitsOf[x.Quantity][0])})
	}
}

// keep gives one and the same string for every name that is spelt alike.
func (c *checker) keep(name string) string {
	kept, ok := c.names[name]
	if !ok {
		kept = strings.Clone(name)
		c.names[kept] = kept
	}
	return kept
}

// reach gives the largest value of a quantity that a meter can show; measures is
// false where it has no range for it.
func reach(m run.Meter, q run.Quantity) (top float64, measures bool) {
	for _, r := range m.Ranges {
		if r.Quantity == q {
			top, measures = max(top, r.UpTo), true
		}
	}
	return top, measures
}

// unknown says that a name is none of the known ones, and which is like it.
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

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
	points map[string]lookup

	zones map[string]*time.Location // by offset from UTC as written, such as +01:00
	text  []byte

	dialect *dialect
}

// lookup is the result of looking up the name of a point in the run.
type lookup struct {
	point run.Point
	err   error
}

func newChecker(file string, r *run.Run) *checker {
	return &checker{file: file, run: r, names: map[string]string{}, points: map[string]lookup{}, zones: map[string]*time.Location{}, dialect: contractForm()}
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
	x.From, x.To = c.intern(x.From), c.intern(x.To)
	switch x.Quantity {
	case run.Voltage:
		c.pair(x)
	case run.Current:
		c.feed(x)
	case run.Temperature:
		c.body(x)
	}
}

func (c *checker) step(x *reading.Reading) {
	if x.Step != "" && c.run.StepIndex(x.Step) < 0 {
		c.Complain(x.Row, "step", unknown("step", x.Step, namesOf(c.run.Steps, func(s run.Step) string { return s.Name })))
	}
	x.Step = c.intern(x.Step)
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

// intern returns one and the same string for every name that is spelt alike.
func (c *checker) intern(name string) string {
	kept, ok := c.names[name]
	if !ok {
		kept = strings.Clone(name)
		c.names[kept] = kept
	}
	return kept
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

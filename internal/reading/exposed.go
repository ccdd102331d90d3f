package reading

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading/openmetrics"
	"ohmkeep/internal/run"
)

// exposed reads the samples of an OpenMetrics text as rows.
type exposed struct {
	samples *openmetrics.Scanner
	head    head
	known   bool // head is right
}

// head holds the labels of a sample.
type head struct {
	Reading         // without its number and time
	meter, exponent string
	shift           int // see prefix
	zone            *time.Location
}

func newExposed(src io.Reader) *exposed {
	return &exposed{samples: openmetrics.NewScanner(src)}
}

// next fills in the next reading, or complains of it.
func (e *exposed) next(x *Reading, check *checker) error {
	s, err := e.samples.Next()
	x.Row = e.samples.Line()
	switch {
	case err == nil:
		e.fill(x, &s, check)
	case ofLine(err):
		check.complain(x.Row, "", fault.Fault{Text: err.Error()})
	default:
		return err
	}
	return nil
}

// ofLine reports whether an error concerns one line of an OpenMetrics text.
func ofLine(err error) bool {
	for _, one := range []error{openmetrics.ErrLong, openmetrics.ErrUTF8, openmetrics.ErrForm, openmetrics.ErrTwice, openmetrics.ErrNumber,
		openmetrics.ErrTime, openmetrics.ErrBehind, openmetrics.ErrEnd} {
		if errors.Is(err, one) {
			return true
		}
	}
	return false
}

// own are the labels that every family has.
var own = []string{"run", "step", "meter", "unit", "exponent", "offset", "again"}

func (e *exposed) fill(x *Reading, s *openmetrics.Sample, check *checker) {
	if !s.Like || !e.known {
		before := len(check.faults)
		e.head = e.labelled(x.Row, s, check)
		if e.known = len(check.faults) == before; !e.known {
			return
		}
	}
	row := x.Row
	*x = e.head.Reading
	x.Row = row
	x.Time = time.Unix(0, s.At).In(e.head.zone)
	text, ok := asWritten(s.Value, e.head.exponent, e.head.shift)
	if !ok {
		check.complain(x.Row, "value", fault.Fault{Text: fmt.Sprintf("%s is not a number of %s written in %s", s.Value, x.Unit, families[x.Quantity].unit),
			Hint: "4812 mV are 4812e-3 volts"})
		return
	}
	check.taken(x)
	check.value(x, text, x.Unit, e.head.meter)
}

// labelled reads the labels of a line.
func (e *exposed) labelled(line int, s *openmetrics.Sample, check *checker) (h head) {
	q := slices.IndexFunc(families[:], func(f family) bool { return f.name == s.Name })
	if q < 0 {
		check.complain(line, "", fault.Fault{Text: s.Name + " is not a reading", Hint: "known: " + families[0].name + " and the like"})
		return h
	}
	f := families[q]
	h.Row, h.Quantity, h.Unit, h.zone = line, run.Quantity(q), unitsOf[q][0], time.UTC
	var runName string
	for _, l := range s.Labels {
		switch l.Name {
		case f.from:
			h.From = l.Value
		case f.to:
			h.To = l.Value
		case "run":
			runName = l.Value
		case "step":
			h.Step = l.Value
		case "meter":
			h.meter = l.Value
		case "unit":
			h.Unit = l.Value
		case "exponent":
			h.exponent = l.Value
		case "offset":
			var ok bool
			if h.zone, ok = check.zone(l.Value); !ok {
				check.complain(line, "offset", fault.Fault{Text: fmt.Sprintf("%q is not an offset from UTC", l.Value), Hint: "such as +01:00"})
			}
		case "again":
		default:
			check.complain(line, l.Name, fault.Fault{Text: "a reading has no such label", Hint: fault.Suggest(l.Name, append([]string{f.from}, own...))})
		}
	}
	if runName != check.run.Name {
		check.complain(line, "run", fault.Fault{Text: fmt.Sprintf("this is a reading of run %q, not of %q", runName, check.run.Name)})
	}
	h.shift = prefix(h.Quantity, h.Unit)
	check.places(&h.Reading)
	return h
}

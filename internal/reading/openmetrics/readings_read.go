package openmetrics

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Checker checks readings against a run and collects the faults.
type Checker interface {
	Complain(line int, column string, f fault.Fault)
	FaultCount() int
	RunName() string
	Zone(offset string) (zone *time.Location, ok bool) // of an offset from UTC such as +01:00
	CheckTime(x *reading.Reading)
	CheckPlaces(x *reading.Reading) // and the step
	CheckValue(x *reading.Reading, text, unit, meter string)
}

// ReadingsReader reads the samples of an OpenMetrics text as readings.
type ReadingsReader struct {
	samples *Scanner
	labels  labels
	valid   bool // labels are without faults
}

// labels are what the labels of a sample state.
type labels struct {
	reading.Reading // without its number and time
	meter, exponent string
	shift           int // see prefix
	zone            *time.Location
}

// NewReadingsReader returns a reader of src.
func NewReadingsReader(src io.Reader) *ReadingsReader {
	return &ReadingsReader{samples: NewScanner(src)}
}

// Next fills in the next reading, or adds its faults. The error is io.EOF at the end, or that
// of the source.
func (e *ReadingsReader) Next(x *reading.Reading, check Checker) error {
	s, err := e.samples.Next()
	x.Row = e.samples.Line()
	switch {
	case err == nil:
		e.fill(x, &s, check)
	case ofLine(err):
		check.Complain(x.Row, "", fault.Fault{Text: err.Error()})
	default:
		return err
	}
	return nil
}

// ofLine reports whether an error concerns one line of an OpenMetrics text.
func ofLine(err error) bool {
	for _, one := range []error{ErrLong, ErrUTF8, ErrForm, ErrTwice, ErrNumber,
		ErrTime, ErrBehind, ErrEnd} {
		if errors.Is(err, one) {
			return true
		}
	}
	return false
}

// commonLabels are the labels that every family has.
var commonLabels = []string{"run", "step", "meter", "unit", "exponent", "offset", "again"}

func (e *ReadingsReader) fill(x *reading.Reading, s *Sample, check Checker) {
	if !s.SameLabels || !e.valid {
		before := check.FaultCount()
		e.labels = e.readLabels(x.Row, s, check)
		if e.valid = check.FaultCount() == before; !e.valid {
			return
		}
	}
	row := x.Row
	*x = e.labels.Reading
	x.Row = row
	x.Time = time.Unix(0, s.At).In(e.labels.zone)
	text, ok := asWritten(s.Value, e.labels.exponent, e.labels.shift)
	if !ok {
		check.Complain(x.Row, "value", fault.Fault{Text: fmt.Sprintf("%s is not a number of %s written in %s", s.Value, x.Unit, families[x.Quantity].unit),
			Hint: "4812 mV are 4812e-3 volts"})
		return
	}
	check.CheckTime(x)
	check.CheckValue(x, text, x.Unit, e.labels.meter)
}

// readLabels reads the labels of a line.
func (e *ReadingsReader) readLabels(line int, s *Sample, check Checker) (h labels) {
	q := slices.IndexFunc(families[:], func(f family) bool { return f.name == s.Name })
	if q < 0 {
		check.Complain(line, "", fault.Fault{Text: s.Name + " is not a reading", Hint: "known: " + families[0].name + " and the like"})
		return h
	}
	f := families[q]
	h.Row, h.Quantity, h.Unit, h.zone = line, run.Quantity(q), reading.Unit(run.Quantity(q)), time.UTC
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
			if h.zone, ok = check.Zone(l.Value); !ok {
				check.Complain(line, "offset", fault.Fault{Text: fmt.Sprintf("%q is not an offset from UTC", l.Value), Hint: "such as +01:00"})
			}
		case "again":
		default:
			check.Complain(line, l.Name, fault.Fault{Text: "a reading has no such label", Hint: fault.Suggest(l.Name, append([]string{f.from}, commonLabels...))})
		}
	}
	if runName != check.RunName() {
		check.Complain(line, "run", fault.Fault{Text: fmt.Sprintf("this is a reading of run %q, not of %q", runName, check.RunName())})
	}
	h.shift = prefix(h.Quantity, h.Unit)
	check.CheckPlaces(&h.Reading)
	return h
}

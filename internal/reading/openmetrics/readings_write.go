package openmetrics

import (
	"fmt"
	"io"
	"iter"
	"strconv"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// family is the metric of one quantity.
type family struct{ name, unit, help, from, to string }

// families are the metrics that readings are written as, by quantity, and the labels of
// their places. Numbers are in base units.
var families = [...]family{
	run.Voltage:     {"ohmkeep_voltage_volts", "volts", "Voltage between two points.", "from", "to"},
	run.Current:     {"ohmkeep_current_amperes", "amperes", "Current through a feed, towards the strip.", "feed", ""},
	run.Temperature: {"ohmkeep_temperature_celsius", "celsius", "Temperature of a reel or feed.", "at", ""},
}

// ReadingsWriter writes readings as OpenMetrics text, which ReadingsReader reads. A number in a
// unit with a prefix is converted to its base unit by its exponent, so that its digits stay. The
// labels unit, exponent and offset record how it was written where that differs.
type ReadingsWriter struct {
	run      string
	to       *Writer
	quantity run.Quantity
	begun    bool
}

// NewReadingsWriter writes readings of a run to w; Close ends the text.
func NewReadingsWriter(w io.Writer, runName string) *ReadingsWriter {
	return &ReadingsWriter{run: runName, to: NewWriter(w)}
}

// Close ends the text and returns the first write error.
func (e *ReadingsWriter) Close() error {
	if err := e.to.Close(); err != nil {
		return fmt.Errorf("write readings: %w", err)
	}
	return nil
}

// Write writes the readings of one place, step, unit and meter, in order of time. It iterates over
// the sequence once for each notation of numbers and times, usually one, and once more for each
// further reading of the same moment, because no two samples of a metric may share a moment. All
// readings of a quantity must be written consecutively. An error of the sequence is returned after
// all readings before it are written.
func (e *ReadingsWriter) Write(readings iter.Seq2[reading.Reading, error]) (ended error) {
	done := map[notation]bool{}
	var left []notation
	for first := true; first || len(left) > 0; first = false {
		var series *Series
		var now notation
		if !first {
			now, left = left[0], left[1:]
		}
		count := moments{}
		for x, err := range readings {
			if err != nil {
				ended = err
				break
			}
			m, value := notationOf(&x)
			m.repeats = count.next(m, x.Time)
			if first && series == nil {
				now = m
				done[now] = true
			}
			if m != now {
				if !done[m] {
					done[m] = true
					left = append(left, m)
				}
				continue
			}
			if series == nil {
				series = e.series(&x, m)
			}
			series.Sample(value, x.Time.UnixNano())
		}
	}
	return ended
}

// moments counts readings of the same moment that are written alike.
type moments map[notation]struct {
	at    time.Time
	again int
}

func (c moments) next(m notation, at time.Time) int {
	before, known := c[m]
	if !known || !before.at.Equal(at) {
		before.at, before.again = at, 0
	} else {
		before.again++
	}
	c[m] = before
	return before.again
}

// series begins the lines of readings that are written alike.
func (e *ReadingsWriter) series(x *reading.Reading, m notation) *Series {
	f := families[x.Quantity]
	if !e.begun || e.quantity != x.Quantity {
		e.to.Family(f.name, f.unit, f.help)
		e.begun, e.quantity = true, x.Quantity
	}
	labels := []Label{{Name: "run", Value: e.run}, {Name: f.from, Value: x.From}}
	if f.to != "" {
		labels = append(labels, Label{Name: f.to, Value: x.To})
	}
	labels = append(labels, Label{Name: "step", Value: x.Step}, Label{Name: "meter", Value: x.Meter})
	if x.Unit != reading.Unit(x.Quantity) {
		labels = append(labels, Label{Name: "unit", Value: x.Unit})
	}
	labels = append(labels, Label{Name: "exponent", Value: m.exponent}, Label{Name: "offset", Value: offsetText(m.offset)})
	if m.repeats > 0 {
		labels = append(labels, Label{Name: "again", Value: strconv.Itoa(m.repeats)})
	}
	return e.to.Series(labels)
}

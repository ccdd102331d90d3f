package model

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// column identifies readings that were written alike: on one range of a meter, in one unit.
type column struct {
	meter, at int
	unit      string
}

// anyRange is the column without its range.
func (c column) anyRange() column { c.at = 0; return c }

// digits is what the digits of the readings show of how they were written down.
type digits struct {
	resolution map[column]float64 // SI, see writtenResolutions
	zeros      map[column]bool    // by unit, whatever the range: some value ends in a zero behind its decimal point, so none were dropped
}

// digitsWritten looks at the digits of all readings.
func (p *Problem) digitsWritten(readings []reading.Reading) digits {
	w := digits{resolution: p.writtenResolutions(readings), zeros: map[column]bool{}}
	for _, x := range readings {
		if c, ok := p.columnOf(x); ok && strings.Contains(x.Text, ".") && strings.HasSuffix(x.Text, "0") {
			w.zeros[c.anyRange()] = true
		}
	}
	return w
}

// nearRangeEnd is the part of a range from which a display may already have changed to the next
// one: the ranges' errors differ, and a display changes back later than it changed (common
// practice, no source).
const nearRangeEnd = 0.95

// displayRange returns the range of a meter on which a reading was displayed, −1 where none shows
// the value. That is the smallest one that holds it, but for a value near the end of its range
// which is written with the digits of the next one. Such digits show nothing where the whole
// column is written so, or where trailing zeros may have been dropped; a value at the very end of
// the range is then taken to be of the next.
func (d digits) displayRange(m run.Meter, c column, x reading.Reading) int {
	next := nextRange(m, c.at)
	if c.at < 0 || next < 0 || x.Mean != nil {
		return c.at
	}
	end, size := m.Ranges[c.at].UpTo, math.Abs(x.Value)
	if size < nearRangeEnd*end || writtenStep(x) < m.Ranges[next].Resolution*(1-1e-6) || !(m.Ranges[c.at].Resolution < m.Ranges[next].Resolution) {
		return c.at
	}
	finer := d.resolution[c] < m.Ranges[next].Resolution*(1-1e-6)
	if size >= end*(1-1e-9) || finer && d.zeros[c.anyRange()] {
		return next
	}
	return c.at
}

// nextRange is the index of the next larger range of the same quantity, −1 without one.
func nextRange(m run.Meter, at int) int {
	next := -1
	for i, r := range m.Ranges {
		if at >= 0 && r.Quantity == m.Ranges[at].Quantity && r.UpTo > m.Ranges[at].UpTo && (next < 0 || r.UpTo < m.Ranges[next].UpTo) {
			next = i
		}
	}
	return next
}

// writtenResolutions returns the resolution, SI, in which each column of readings was written:
// the last decimal that any of its values shows. A spreadsheet drops trailing zeros, so one value
// does not show its resolution. A column in which no value shows the last decimals of the display
// was rounded when written. In a long column one value with more decimals than all others is
// taken as a typing error.
func (p *Problem) writtenResolutions(readings []reading.Reading) map[column]float64 {
	steps := map[column][]float64{}
	for _, x := range readings {
		if c, ok := p.columnOf(x); ok {
			steps[c] = append(steps[c], writtenStep(x))
		}
	}
	finest := map[column]float64{}
	for c, list := range steps {
		slices.Sort(list)
		if len(list) >= minOutlierColumn {
			list = list[1:]
		}
		finest[c] = list[0]
	}
	return finest
}

// minOutlierColumn is the number of values from which one of them may be such a typing error.
const minOutlierColumn = 6

// columnOf returns the column of a reading; false where its meter has no range for it.
func (p *Problem) columnOf(x reading.Reading) (column, bool) {
	meter := max(p.Run.MeterIndex(x.Meter), 0)
	at := p.Run.Meters[meter].Range(x.Quantity, x.Value)
	return column{meter, at, x.Unit}, at >= 0
}

// writtenStep is one unit of the last decimal of a reading's text, SI; 0 where it has no text.
func writtenStep(x reading.Reading) float64 {
	per, known := reading.PerSI(x.Quantity, x.Unit)
	if !known || x.Text == "" || x.Mean != nil {
		return 0
	}
	digits, exponent, _ := strings.Cut(strings.ToLower(x.Text), "e")
	power := 0
	if exponent != "" {
		power, _ = strconv.Atoi(exponent)
	}
	_, decimals, _ := strings.Cut(digits, ".")
	return math.Pow(10, float64(power-len(decimals))) / per
}

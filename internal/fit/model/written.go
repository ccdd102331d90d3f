package model

import (
	"math"
	"slices"
	"strings"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// column identifies readings that were written in the same form: from one range of a meter, in one
// unit.
type column struct {
	meter, at int
	unit      string
}

// anyRange returns the column without its range.
func (c column) anyRange() column { c.at = 0; return c }

// digits is how the readings were written down, as their digits show.
type digits struct {
	resolution map[column]float64 // SI, see writtenResolutions
	zeros      map[column]bool    // by column without range: a value ends in a zero after its decimal point, so trailing zeros were not dropped
}

// digitsWritten looks at the digits of all readings.
func (m *Model) digitsWritten(readings []reading.Reading) digits {
	w := digits{resolution: m.writtenResolutions(readings), zeros: map[column]bool{}}
	for _, x := range readings {
		if c, ok := m.columnOf(x); ok && strings.Contains(x.Text, ".") && strings.HasSuffix(x.Text, "0") {
			w.zeros[c.anyRange()] = true
		}
	}
	return w
}

// nearRangeEnd is the part of a range above which a display may already have changed to the next
// one: ranges have different errors, and autoranging has hysteresis (common practice, no source).
const nearRangeEnd = 0.95

// displayRange returns the index of the range of a meter on which a reading was displayed, −1 where
// no range holds the value. That is the smallest range that holds it, except for a value near the
// end of its range that is written with the digits of the next one. Such digits are no evidence
// where the whole column is written so, or where trailing zeros may have been dropped. A value at
// the very end of a range is then taken to be from the next. The range of a meter whose digits show it is
// the column's.
func (d digits) displayRange(m run.Meter, c column, x reading.Reading) int {
	next := nextRange(m, c.at)
	if c.at < 0 || next < 0 || x.Mean != nil || m.DigitsShowRange {
		return c.at
	}
	end, size := m.Ranges[c.at].UpTo, math.Abs(x.Value)
	if size < nearRangeEnd*end || singleLastDigit(x) < m.Ranges[next].Resolution*(1-1e-6) || !(m.Ranges[c.at].Resolution < m.Ranges[next].Resolution) {
		return c.at
	}
	finer := d.resolution[c] < m.Ranges[next].Resolution*(1-1e-6)
	if size >= end*(1-1e-9) || finer && d.zeros[c.anyRange()] {
		return next
	}
	return c.at
}

// nextRange returns the index of the next larger range of the same quantity, −1 without one.
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
func (m *Model) writtenResolutions(readings []reading.Reading) map[column]float64 {
	steps := map[column][]float64{}
	for _, x := range readings {
		if c, ok := m.columnOf(x); ok {
			steps[c] = append(steps[c], singleLastDigit(x))
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

// minOutlierColumn is the least number of values in a column of which one may be such a typing
// error.
const minOutlierColumn = 6

// columnOf returns the column of a reading; false where its meter has no range for it.
func (m *Model) columnOf(x reading.Reading) (column, bool) {
	meter := max(m.Run.MeterIndex(x.Meter), 0)
	at := m.Run.Meters[meter].ShownRange(x.Quantity, x.Value, x.LastDigit())
	return column{meter, at, x.Unit}, at >= 0
}

// singleLastDigit returns one unit of the last decimal of a reading's text, SI; 0 for a mean.
func singleLastDigit(x reading.Reading) float64 {
	if x.Mean != nil {
		return 0
	}
	return x.LastDigit()
}

// Package reading is one measured value and its form as a CSV row.
//
// A Reading keeps what the instrument said (Text and Unit) beside the SI value,
// so that a file written again holds the same digits. Points and steps are
// checked against a run by Parse; this package does not know what a reading
// means for a joint.
//
// The file is RFC 4180 CSV in UTF-8 with a header row of eight columns: time, step,
// quantity, from, to, value, unit, meter. What a spreadsheet makes of it is read too
// (dialect.go): its first 256 KB show what stands between the columns, the decimal sign,
// the order of day and month, and what numbers without a unit can be in. A cell that can
// still be read in two ways is refused. Values are what the meter can show: 4,812 V of a
// meter up to 60 V is not 4812 V.
//
// Quality is a set of marks, the same from the instrument to the store. Sample is a reading
// as an instrument sends it, Recorded one that a probe of a run took.
package reading

import (
	"fmt"
	"slices"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
)

// Reading is one measured value between two points, through a feed, or at a place: from
// the instrument to the store and back.
type Reading struct {
	Row      int       // line of the CSV, header = 1; 0 where it came from elsewhere
	Time     time.Time // as written, with its offset; 1970 to 2262
	Step     string    // a step's name; "" = not known
	Quantity run.Quantity
	From, To string  // as written: points, or a feed's name, or a reel's or feed's
	Text     string  // the value as written; without a measured value what the instrument sent
	Unit     string  // the unit as written
	Value    float64 // SI: V, A; °C for a temperature; 0 where Quality says that nothing was measured
	Meter    string  // a meter's name, never "" after Parse
	Quality  Quality
	Counts   Counts // of a register that the value was computed from
	Mean     *Mean  // the readings that Value is the mean of; nil = it is a single one
}

// Set is what a file of readings holds.
type Set struct {
	Readings   []Reading  // the measured values, in the order of the file
	Unmeasured []Reading  // rows that say why there is no value, such as OL
	Repeats    []Repeat   // rows left out because an earlier row says exactly the same
	Bad        fault.List // what is wrong with the rows left out; from ParseGood only
	BadRows    int        // how many rows that are
	Notes      []string   // how the file was read, where it is not of this program's form
}

// Repeat is a row that says exactly what an earlier row of the same file says.
type Repeat struct{ Line, Of int }

func (p Repeat) String() string { return fmt.Sprintf("line %d repeats line %d", p.Line, p.Of) }

// ByTime returns the readings in the order of their times; readings of the same
// moment stay in the order of the file.
func (s Set) ByTime() []Reading {
	sorted := slices.Clone(s.Readings)
	slices.SortStableFunc(sorted, func(a, b Reading) int { return a.Time.Compare(b.Time) })
	return sorted
}

// identity is what makes two readings the same one. Times are compared as
// moments: 12:00 at +02:00 is 10:00 in UTC.
type identity struct {
	at                                int64
	quantity                          run.Quantity
	step, from, to, text, unit, meter string
}

func (x Reading) identity() identity {
	return identity{x.Time.UnixNano(), x.Quantity, x.Step, x.From, x.To, x.Text, x.Unit, x.Meter}
}

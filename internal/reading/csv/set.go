package csv

import (
	"fmt"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Set holds the contents of a file of readings.
type Set struct {
	Readings   []reading.Reading // the measured values, in the order of the file
	Unmeasured []reading.Reading // rows that state why there is no value, such as OL
	Repeats    []Repeat          // rows left out because an earlier row is the same
	Bad        fault.List        // what is wrong with the rows left out; from ParseGood only
	BadRows    int               // how many rows that are
	Notes      []string          // how the file was read, where it is not of this program's form
}

// Repeat is a row with the same contents as an earlier row of the file, by their lines.
type Repeat struct{ Line, Of int }

func (p Repeat) String() string { return fmt.Sprintf("line %d repeats line %d", p.Line, p.Of) }

// identity is equal for two rows with the same contents. Times are compared as
// moments: 12:00 at +02:00 is 10:00 in UTC.
type identity struct {
	at                                int64
	quantity                          run.Quantity
	step, from, to, text, unit, meter string
}

func identityOf(x *reading.Reading) identity {
	return identity{x.Time.UnixNano(), x.Quantity, x.Step, x.From, x.To, x.Text, x.Unit, x.Meter}
}

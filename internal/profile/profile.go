// Package profile describes how one kind of device is opened, how it speaks and
// how well it measures, as a profile file says it. How to write such a file
// stands in package probes.
//
// All values are SI; the milliohms and milliseconds of the file end here. A
// Profile is never changed after Parse. The package opens no port and knows no
// measured value.
package profile

import (
	"regexp"
	"time"

	"ohmkeep/internal/run"
)

// Kind is how a device speaks.
type Kind int

const (
	SCPI  Kind = iota // answers when asked
	Lines             // prints lines by itself
)

func (k Kind) String() string { return kindNames[k] }

var kindNames = []string{"scpi", "lines"}

// Profile is one kind of device.
type Profile struct {
	Name  string
	Title string
	Kind  Kind
	Port  Port
	Query Query     // SCPI only
	Line  Line      // Lines only
	Meter run.Meter // accuracy; named like the profile, without ranges where it states none
}

// Port is how the serial port is opened.
type Port struct {
	Baud     int
	DataBits int
	Parity   Parity
	StopBits int   // 1 or 2
	DTR, RTS *bool // nil: as the system leaves them
	Settle   time.Duration
	// Terminator ends each line that is sent: "\n", "\r\n" or "\r".
	Terminator string
}

// Parity is the parity bit of a character.
type Parity int

const (
	NoParity Parity = iota
	OddParity
	EvenParity
	MarkParity
	SpaceParity
)

var parityNames = []string{"none", "odd", "even", "mark", "space"}

// Query is what a meter is asked.
type Query struct {
	Identity string
	Error    string // "" = the device has no error queue
	Start    []string
	Finish   []string
	Measure  map[run.Quantity][]string // the last of each is a query, the others are commands
	Timeout  time.Duration             // for one answer
}

// Line is the form of the lines that a board prints.
type Line struct {
	Pattern *regexp.Regexp // of a whole line
	Comment string         // what begins a line without values; "" = nothing does
	Fields  []Field        // in the order of the file
}

// Names of the pattern's groups that are not values.
const (
	GroupID    = "id"
	GroupFault = "fault"
)

// Field is one value of a line: a decimal number with a unit, or register counts.
type Field struct {
	Group     string
	Unit      string // of the decimal number; "" = UnitGroup says it, or the field is counts
	UnitGroup string

	Counts          bool
	Quantity        run.Quantity // counts only
	PerCount        float64      // SI value of one count
	Lowest, Highest int64        // counts beyond which the sensor is saturated
}

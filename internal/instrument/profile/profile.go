// Package profile reads profile files. A profile describes one kind of device: how its port is
// opened, its commands or the form of its lines, and its accuracy. Package probes documents the
// format.
//
// All values are SI; the milliohms and milliseconds of the file end here. A
// Profile is never changed after Parse. The package opens no port and knows no
// measured value.
package profile

import (
	"regexp"
	"strings"
	"time"

	"ohmkeep/internal/instrument/register"
	"ohmkeep/internal/run"
)

// Kind is the way in which a device sends its values.
type Kind int

const (
	SCPI     Kind = iota // answers queries
	Lines                // sends lines by itself
	Hwmon                // is read by the kernel, which provides its values as files
	Modbus               // is one of several slaves on a line, and answers requests for registers
	Handheld             // sends by itself what its display shows
	MQTT                 // publishes at a broker
)

func (k Kind) String() string { return kindNames[k] }

var kindNames = []string{"scpi", "lines", "hwmon", "modbus", "display", "mqtt"}

// SendsByItself reports whether a device sends without a query.
func (k Kind) SendsByItself() bool { return k == Lines || k == Handheld || k == MQTT }

// Recordable reports whether what a device sends can be recorded and replayed.
func (k Kind) Recordable() bool { return k == SCPI || k == Lines || k == Handheld }

// Profile is one kind of device.
type Profile struct {
	Name      string
	Title     string
	Source    string // chip, standard or datasheet that the profile follows; "" = not stated
	Accuracy  string // where the limits of Meter are from; "" = not stated
	Kind      Kind
	Port      Port
	Query     Query     // SCPI only
	Line      Line      // Lines only
	Files     Files     // Hwmon only
	Registers Registers // Modbus only
	Display   Display   // Handheld only
	Messages  Messages  // MQTT only
	Meter     run.Meter // accuracy; named like the profile, without ranges where it states none
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

// Query holds the commands and queries of a meter.
type Query struct {
	Identity string
	Error    string // "" = the device has no error queue
	Start    []string
	Finish   []string
	Measure  map[run.Quantity][]string // the last of each is a query, the others are commands
	// Functions are the ranges of a quantity, the smallest first. A quantity is
	// here or in Measure, not in both.
	Functions map[run.Quantity][]Function
	Overload  []string      // answers that mean more than the range holds, beside SCPI's own
	Turn      int           // readings of one quantity before the next has its turn
	Every     time.Duration // between two readings by turns
	Timeout   time.Duration // for one answer
}

// Function is one function and range of a meter, selected only when another one
// was in use.
type Function struct {
	Select []string      // commands
	Read   string        // query
	State  string        // query whose answer names function and range; "" = none
	Settle time.Duration // after Select; what is read before is unsettled
	UpTo   float64       // SI, the size that the range holds; +Inf where it has no end
}

// Asks reports whether a meter can be queried for a quantity.
func (q Query) Asks(quantity run.Quantity) bool {
	return len(q.Measure[quantity]) > 0 || len(q.Functions[quantity]) > 0
}

// Quantities returns the quantities for which a meter can be queried.
func (q Query) Quantities() []run.Quantity {
	var all []run.Quantity
	for i := range run.QuantityNames {
		if q.Asks(run.Quantity(i)) {
			all = append(all, run.Quantity(i))
		}
	}
	return all
}

// Line is the form of the lines that a board prints.
type Line struct {
	Pattern *regexp.Regexp // of a whole line
	Comment string         // what begins a line without values; "" = nothing does
	// Identity is of the comments that say who the board is; nil = the first one does.
	Identity *regexp.Regexp
	// AwaitReady takes no value that the chip's conversion-ready flag does not announce.
	AwaitReady bool
	Fields     []Field // in the order of the file
}

// Names of the pattern's groups that are not values.
const (
	GroupID     = "id"
	GroupFault  = "fault"
	GroupSerial = "serial"
)

// Field is one value of a line: a decimal number with a unit, register counts, or
// the word of a chip's register.
type Field struct {
	Group     string
	Unit      string // of the decimal number; "" = UnitGroup says it, or the field is counts
	UnitGroup string

	Counts          bool
	Quantity        run.Quantity // counts only
	PerCount        float64      // SI value of one count
	Lowest, Highest int64        // counts beyond which the sensor is saturated
	// Shunt is the resistance in Ω by which volts became the current; 0 = none is known.
	Shunt float64

	Register *register.Register // nil = Group is a number of its own; implies Counts but for flags
	Base     int                // of the register's word, 10 or 16
}

// IsFlags reports whether the field is a register that holds no value.
func (f Field) IsFlags() bool { return f.Register != nil && f.Register.Measure == register.Flags }

// Files are the kernel's files of one device.
type Files struct {
	Names  []string // what the device's file name may say
	Every  time.Duration
	Values []FileValue
}

// FileValue is one file that is read.
type FileValue struct {
	File            string // such as in1_input
	Channel         string
	Lowest, Highest int64  // as the file says it; beyond them the sensor is saturated
	ShuntFile       string // of a current: the file with its shunt's resistance in µΩ; "" = none
}

// Quantity returns the quantity of a file, and the unit of its numbers. Millivolts and milliamperes are
// units of a reading; thousandths of a °C are not.
func (v FileValue) Quantity() (q run.Quantity, unit string) {
	switch {
	case strings.HasPrefix(v.File, "in"):
		return run.Voltage, "mV"
	case strings.HasPrefix(v.File, "curr"):
		return run.Current, "mA"
	}
	return run.Temperature, "degC"
}

// Interval returns the time from one query of all channels to the next, where the run file states
// none.
func (p *Profile) Interval() time.Duration {
	if p.Kind == Modbus {
		return p.Registers.Every
	}
	return 10 * time.Second
}

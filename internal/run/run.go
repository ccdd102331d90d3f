// Package run describes one installed system: its supplies, reels, joints,
// junctions and feeds, the load steps it is measured in, the meters it is
// measured with and the limits it is judged by.
//
// A Run that package runfile returns is valid: every name is known, every number
// is in its range, every reel can be reached from a supply. All values are SI
// (volts, amperes, ohms, metres); the run file's milliohms and milliamps end
// there. A Run is never changed once it is made; it knows no clock, no network
// solution and no measured value.
package run

import (
	"ohmkeep/internal/run/colour"
	"ohmkeep/internal/run/conductor"
)

// Run is one installed system.
type Run struct {
	Name    string
	File    string  // as the user named it, for messages
	Ambient float64 // °C, of the copper where no reading says otherwise

	Supplies  []Supply
	Reels     []Reel
	Joints    []Joint // every joint, listed in the file or not, in the order of the reels
	Junctions []Junction
	Feeds     []Feed
	Steps     []Step
	Meters    []Meter // never empty: without a [[meter]] the package's own hand meter
	Probes    []Probe
	Checks    []Check
	Limits    Limits
}

// Driver is how a pixel takes its current.
type Driver int

const (
	Linear    Driver = iota // constant-current sink per channel, starves below its knee
	Resistor                // level × (volts − forward) / ohms
	Regulated               // constant power per channel above its minimum voltage
)

func (d Driver) String() string { return [...]string{"linear", "resistor", "regulated"}[d] }

// Strip is what the pixels of a reel are.
type Strip struct {
	Volts          float64 // rated
	PixelsPerMetre float64
	Driver         Driver
	Channels       []Channel
	Idle           float64 // A, one pixel at any level
	LoopOhms       float64 // Ω/m at 20 °C, both rails together; 0 = not known
}

// Channel is one colour of a pixel.
type Channel struct {
	Name    string  // red, green, blue, white
	Amps    float64 // at level 1 and rated volts, one pixel
	Forward float64 // V, below it no current flows (linear, resistor)
	Knee    float64 // V, linear: from here up the full current; regulated: the minimum voltage
	Ohms    float64 // resistor driver only
	// KneeAssumed reports that the file states neither the knee nor the forward voltage from which
	// it follows, so that a usual one is assumed.
	KneeAssumed bool
	Light       colour.XYZ // at level 1 and rated volts; Y in mcd, or any unit that a strip's channels share
	Usual       bool       // the file says nothing of its light, which is the usual one
}

// Supply is a DC power supply.
type Supply struct {
	Name  string
	Volts float64 // at its terminals without load
	Amps  float64 // rated
	Ohms  float64 // output resistance
	Known bool    // the file states Ohms; false: it is taken as 0
}

// Reel is an unbroken length of strip.
type Reel struct {
	Name    string
	Pixels  int
	Follows int // index of the reel whose end this reel's start is joined to, or -1
	Strip   Strip
}

// SegmentLength is the copper between two neighbouring pixels, in metres.
func (r Reel) SegmentLength() float64 { return 1 / r.Strip.PixelsPerMetre }

// CopperLength is the copper between the first and the last pixel, in metres.
func (r Reel) CopperLength() float64 { return float64(r.Pixels-1) / r.Strip.PixelsPerMetre }

// Joint is where the end of reel From meets the start of reel To.
type Joint struct {
	Name     string
	From, To int     // reels
	PlusCut  bool    // the plus rail is parted here
	Limit    float64 // Ω, loop
	Ohms     float64 // Ω, loop, as known or assumed
}

// Junction is a named splice point where feeds meet.
type Junction struct{ Name string }

// Feed is a two-conductor cable with its connectors.
type Feed struct {
	Name       string
	From, To   Place
	Length     float64 // m, one way; 0 = not stated
	Conductor  string  // as written, such as "18 AWG"; "" = not stated
	Material   string  // copper, cca or aluminium
	Stranding  string  // solid or fine
	WireOhms   float64 // Ω loop at 20 °C, what length and conductor give; 0 = not stated
	Ohms       float64 // Ω loop at 20 °C, as the file states it or else WireOhms
	Stated     bool    // Ohms was stated in the file
	Ampacity   float64 // A, published for its conductor; 0 = none is known
	AmpacityBy string  // where that figure is published
	TempCo     float64 // 1/K at 20 °C of its metal
	Fuse       float64 // A; 0 = none stated
}

// Like names the size of the feed's own kind, such as "22 AWG", that has the given
// loop resistance (Ω at 20 °C) over the feed's length; "" where the file states
// no conductor or no length.
func (f Feed) Like(ohms float64) string {
	wire, err := conductor.Parse(f.Conductor, f.Material, f.Stranding)
	if err != nil || f.Length <= 0 || ohms <= 0 {
		return ""
	}
	return wire.Like(ohms / (2 * f.Length))
}

// Step is a load state that is set while readings are taken.
type Step struct {
	Name   string
	Levels map[string]float64 // by channel name, duty 0..1; absent = 0
}

// Lit reports whether any channel is on.
func (s Step) Lit() bool {
	for _, level := range s.Levels {
		if level > 0 {
			return true
		}
	}
	return false
}

// Check is a step that the controller shows by itself every day.
type Check struct {
	Step    int     // index into Steps
	At      int     // min after midnight, in the time zone of the machine that watches
	Seconds float64 // how long it is shown
	Settle  float64 // s, of these: what it takes to come up
}

// Limits are what the run is judged by.
type Limits struct {
	JointOhms     float64
	FeedDrop      float64 // fraction of the supply's volts at the design step
	FeedExcess    float64 // fraction over what conductor and length give
	ConnectorOhms float64 // added to that for the connectors
	ReelExcess    float64 // fraction over the nominal of a reel
	ColourShift   float64 // CIE 1976 u'v'
	Dimming       float64 // fraction of the light at full voltage that may be missing
	DesignStep    int     // index into Steps, or -1
}

// Probe is what the daemon reads.
type Probe struct {
	Name     string
	Profile  string // name of a device profile; checked where the probe is opened
	Port     string
	Meter    int     // index into Meters, or -1: the profile brings the accuracy
	Every    float64 // s, from one round of questions to the next; a device that is asked only
	Channels []ProbeChannel
}

// ProbeChannel ties one value of a probe to its place in the run.
type ProbeChannel struct {
	ID       string
	Quantity Quantity
	From, To string // as in a reading; From "" on a meter that is carried about
	// Shunt is the right resistance in Ω of this channel's shunt; 0 = as the profile has it.
	Shunt float64
}

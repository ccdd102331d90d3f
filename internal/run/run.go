// Package run describes one installed system: its supplies, reels, joints,
// junctions and feeds, the load steps it is measured in, the meters it is
// measured with and the limits it is judged by.
//
// A Run that package runfile returns is valid: every name is known, every number is in its
// range, every reel is connected to a supply. All values are SI; package runfile converts the
// run file's milliohms and milliamps. A Run is not changed after it is read. It holds no
// measured or computed values.
package run

import (
	"strings"

	"ohmkeep/internal/run/colour"
	"ohmkeep/internal/run/conductor"
)

// Run is one installed system.
type Run struct {
	Name    string
	Site    string  // where the run belongs among those of a firm; "" = it is a site by itself
	File    string  // as the user named it, for messages
	Ambient float64 // °C, of the copper where there is no temperature reading

	Installation Installation

	Supplies  []Supply
	Reels     []Reel
	Joints    []Joint // all joints, also those not listed in the file, in the order of the reels
	Junctions []Junction
	Feeds     []Feed
	Steps     []Step
	Meters    []Meter // never empty: a hand meter with usual accuracy where the file has no [[meter]]
	Brought   int     // how many of Meters, the last ones, come from the profiles of probes and not from the file
	Probes    []Probe
	Broker    *Broker // nil = there is none
	Checks    []Check
	Limits    Limits
}

// Driver is how a pixel's current depends on its voltage.
type Driver int

const (
	Linear    Driver = iota // constant-current sink per channel, starves below its knee
	Resistor                // level × (volts − forward) / ohms
	Regulated               // constant power per channel above its minimum voltage
)

func (d Driver) String() string { return [...]string{"linear", "resistor", "regulated"}[d] }

// Strip describes the pixels of a reel.
type Strip struct {
	Volts          float64 // V, rated
	PixelsPerMetre float64
	Driver         Driver
	Channels       []Channel
	Idle           float64 // A, one pixel at any level
	LoopOhms       float64 // Ω/m at 20 °C, both rails together; 0 = not known
	Batch          string  // of the maker; "" = not known
}

// Channel is one colour of a pixel.
type Channel struct {
	Name    string  // red, green, blue, white
	Amps    float64 // A, one pixel at level 1 and rated volts
	Forward float64 // V, below it no current flows (linear, resistor)
	Knee    float64 // V, linear: from here up the full current; regulated: the minimum voltage
	Ohms    float64 // Ω, of the series resistor; resistor driver only
	// KneeAssumed reports that the file states neither the knee nor the forward voltage that gives
	// it, and a usual value is assumed.
	KneeAssumed bool
	Light       colour.XYZ // at level 1 and rated volts; Y in mcd, or any unit that a strip's channels share
	Usual       bool       // the file does not state its light, and a usual one is assumed
}

// Supply is a DC power supply.
type Supply struct {
	Name  string
	Volts float64 // V, at its terminals without load
	Amps  float64 // A, rated
	Ohms  float64 // Ω, output resistance
	Known bool    // the file states Ohms; false: it is taken as 0
}

// Reel is an unbroken length of strip.
type Reel struct {
	Name    string
	Pixels  int
	Follows int // index of the reel whose end this reel's start is joined to, or -1
	Strip   Strip
}

// SegmentLength returns the length of copper between two neighbouring pixels, m.
func (r Reel) SegmentLength() float64 { return 1 / r.Strip.PixelsPerMetre }

// CopperLength returns the length of copper between the first and the last pixel, m.
func (r Reel) CopperLength() float64 { return float64(r.Pixels-1) / r.Strip.PixelsPerMetre }

// Joint is where the end of reel From meets the start of reel To.
type Joint struct {
	Name     string
	From, To int     // reels
	Type     string  // how it is made, such as soldered; "" = not stated
	PlusCut  bool    // the plus rail is cut here
	Limit    float64 // Ω, loop
	Ohms     float64 // Ω, loop, as stated or assumed
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
	WireOhms   float64 // Ω loop at 20 °C, computed from length and conductor; 0 = not stated
	Ohms       float64 // Ω loop at 20 °C, as the file states it or else WireOhms
	Stated     bool    // Ohms was stated in the file
	Ampacity   float64 // A, published for its conductor; 0 = not known
	AmpacityBy string  // where that value is published
	TempCo     float64 // 1/K at 20 °C of its metal
	Fuse       float64 // A; 0 = none stated
}

// Like returns the size, such as "22 AWG", of a wire of the feed's metal and stranding that
// has about the given loop resistance (Ω at 20 °C) over the feed's length; "" where the file
// states no conductor or no length.
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

// Check is a step that the controller shows every day at a fixed time.
type Check struct {
	Step    int     // index into Steps
	At      int     // min after midnight, in the time zone of the machine that runs the watch
	Seconds float64 // s, how long it is shown
	Settle  float64 // s at its beginning during which readings are not used
}

// Limits are the limits of the run's verdicts.
type Limits struct {
	JointOhms     float64 // Ω, loop
	FeedDrop      float64 // fraction of the supply's volts at the design step
	FeedExcess    float64 // fraction over what conductor and length give
	ConnectorOhms float64 // Ω, added to that for the connectors
	ReelExcess    float64 // fraction over a reel's stated resistance
	ColourShift   float64 // distance in CIE 1976 u'v' from the colour at full voltage
	Dimming       float64 // fraction of the light at full voltage that may be lost
	DesignStep    int     // index into Steps, or -1
}

// Probe is a device that the watch reads.
type Probe struct {
	Name     string
	Profile  string // name of a device profile; checked where the probe is opened
	Port     string
	Meter    int     // index into Meters, or -1: the profile states the accuracy
	Every    float64 // s, between queries; 0 = as the profile says; only for a device that is queried
	Topic    string  // below which the device publishes at the run's broker; "" = it does not
	Slave    int     // address on a Modbus line; 0 = the device is none
	Channels []ProbeChannel
}

// Ports of a probe that are not the port of a device.
const (
	AtBroker   = "mqtt"        // the device publishes at the run's broker
	Simulated  = "simulated"   // the run itself is simulated
	Transcript = "transcript:" // a file name follows; it is replayed
)

// OnDevice reports whether the port of a probe is that of a device, which has one reader.
func (p Probe) OnDevice() bool {
	return p.Port != AtBroker && p.Port != Simulated && !strings.HasPrefix(p.Port, Transcript)
}

// Broker is a broker of MQTT, from which readings of boards are received and to which the watch publishes.
type Broker struct {
	URL          string  // mqtt://host:port, or mqtts://host:port with TLS
	Client       string  // the name by which the broker knows this program
	User         string  // "" = none
	PasswordFile string  // beside the run file; "" = none
	CAFile       string  // certificates by which the broker's is checked; "" = those of the system
	Publish      string  // the topic below which the watch publishes; "" = it publishes nothing
	Every        float64 // s, between two values of a channel
	Queue        int     // messages that wait on disk while the broker is away
}

// ProbeChannel connects one value of a probe with its place in the run.
type ProbeChannel struct {
	ID       string
	Quantity Quantity
	From, To string // as in a reading; From "" for a meter that is carried from place to place
	// Shunt is the correct resistance of this channel's shunt, Ω; 0 = that of the profile.
	Shunt float64
}

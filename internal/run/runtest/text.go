package runtest

import (
	"fmt"
	"strings"
)

// Head is the beginning of an invented run file: a strip of 5 V with its copper and currents stated.
func Head(name string) string {
	return fmt.Sprintf(`schema = 1
name = %q
[strip]
volts = 5.0
pixels_per_metre = 60
driver = "linear"
channel_milliamps = 12.0
idle_milliamps = 0.8
loop_milliohms_per_metre = 80.0
`, name)
}

// Strip is Head with a supply A of 5.1 V.
func Strip(name string) string { return Head(name) + Supply("A", 5.1, 20, 5) }

// Supply is a supply; its output resistance is in milliohms, and 0 where it is not stated.
func Supply(name string, volts, amps, milliohms float64) string {
	text := fmt.Sprintf("[[supply]]\nname = %q\nvolts = %g\namps = %g\n", name, volts, amps)
	if milliohms > 0 {
		text += fmt.Sprintf("milliohms = %g\n", milliohms)
	}
	return text
}

// Reels are reels of so many metres, each joined to the one before it.
func Reels(metres float64, names ...string) string {
	var b strings.Builder
	for _, name := range names {
		fmt.Fprintf(&b, "[[reel]]\nname = %q\nmetres = %g\n", name, metres)
	}
	return b.String()
}

// Feed is a feed "near" of 2.5 m from supply A.
func Feed(to, conductor string) string { return FeedFrom("near", "A", to, 2.5, conductor) }

// FeedFrom is a feed of so many metres from a supply or junction.
func FeedFrom(name, from, to string, metres float64, conductor string) string {
	return fmt.Sprintf("[[feed]]\nname = %q\nfrom = %q\nto = %q\nmetres = %g\nconductor = %q\n", name, from, to, metres, conductor)
}

// White is a step in which all channels have one level.
func White(name string, level float64) string {
	return fmt.Sprintf("[[step]]\nname = %q\nred = %g\ngreen = %[2]g\nblue = %[2]g\n", name, level)
}

// Meter is a meter with ranges of Range.
func Meter(name string, ranges ...string) string {
	return fmt.Sprintf("[[meter]]\nname = %q\n", name) + strings.Join(ranges, "")
}

// Range is a range of a meter, in SI units; upTo 0 is a range without end.
func Range(quantity string, upTo, resolution, percent, counts float64) string {
	text := fmt.Sprintf("  [[meter.range]]\n  quantity = %q\n", quantity)
	if upTo > 0 {
		text += fmt.Sprintf("  up_to = %g\n", upTo)
	}
	return text + fmt.Sprintf("  resolution = %g\n  percent = %g\n  counts = %g\n", resolution, percent, counts)
}

// Landing is an invented run of 12 V whose two feeds come from one supply, with a meter "hand".
var Landing = `schema = 1
name = "landing"
[strip]
volts = 12
pixels_per_metre = 30
channel_milliamps = 12
idle_milliamps = 0.8
loop_milliohms_per_metre = 80
` + Supply("A", 12.3, 20, 5) + Reels(4, "left", "right") +
	FeedFrom("near", "A", "left.start", 2, "18 AWG") + FeedFrom("far", "A", "right.end", 3, "18 AWG") +
	White("half", 0.25) + White("full", 0.5) +
	Meter("hand", Range("voltage", 0.6, 0.0001, 0.5, 3), Range("voltage", 60, 0.01, 0.5, 3), Range("current", 60, 0.01, 1.5, 3))

// BoardMeter is a meter "board" with a sensor of its own at each place.
const BoardMeter = `[[meter]]
name = "board"
errors = "each"
  [[meter.range]]
  quantity = "voltage"
  resolution = 0.00125
  percent = 0.3
  [[meter.range]]
  quantity = "current"
  resolution = 0.00125
  percent = 1
`

// Gallery is an invented run of two reels that a board reads at every place, in the step "check".
var Gallery = Strip("Gallery") + Reels(1, "west", "north") + Feed("west.start", "16 AWG") + White("check", 0.2) + BoardMeter

// Hall is an invented run of one reel whose copper is not stated, and one feed.
const Hall = `schema = 1
name = "Hall"
[strip]
volts = 5.0
pixels_per_metre = 60
channel_milliamps = 12.0
[[supply]]
name = "A"
volts = 5.1
amps = 20
[[reel]]
name = "west"
pixels = 240
[[feed]]
name = "near"
from = "A"
to = "west.start"
milliohms = 20
`

// TwoFeeds is an invented run of 24 V with a joint between two feeds and a dark step. The current
// of a channel is in milliamperes.
func TwoFeeds(milliamps float64) string {
	return fmt.Sprintf(`schema = 1
name = "invented"
[strip]
volts = 24
pixels_per_metre = 20
channel_milliamps = %g
loop_milliohms_per_metre = 40
[[supply]]
name = "A"
volts = 24
amps = 20
[[reel]]
name = "west"
metres = 6
[[reel]]
name = "north"
metres = 4
[[feed]]
name = "near"
from = "A"
to = "west.start"
metres = 3
conductor = "1.5 mm2"
[[feed]]
name = "far"
from = "A"
to = "north.end"
metres = 4
conductor = "1.5 mm2"
[[step]]
name = "dark"
`, milliamps)
}

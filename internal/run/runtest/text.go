package runtest

import (
	"fmt"
	"strings"
)

// Strip is the beginning of an invented run file: a strip of 5 V with its copper and currents
// stated, fed by a supply A of 5.1 V.
func Strip(name string) string {
	return fmt.Sprintf(`schema = 1
name = %q
[strip]
volts = 5.0
pixels_per_metre = 60
driver = "linear"
channel_milliamps = 12.0
idle_milliamps = 0.8
loop_milliohms_per_metre = 80.0
[[supply]]
name = "A"
volts = 5.1
amps = 20
milliohms = 5
`, name)
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
func Feed(to, conductor string) string {
	return fmt.Sprintf("[[feed]]\nname = \"near\"\nfrom = \"A\"\nto = %q\nmetres = 2.5\nconductor = %q\n", to, conductor)
}

// White is a step in which all channels have one level.
func White(name string, level float64) string {
	return fmt.Sprintf("[[step]]\nname = %q\nred = %g\ngreen = %[2]g\nblue = %[2]g\n", name, level)
}

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

package runfile_test

import (
	"fmt"

	"ohmkeep/internal/run/runfile"
)

// Every fault of a file comes at once, each with its line, key and what would
// be right.
func ExampleParse() {
	_, err := runfile.Parse("shelf.toml", []byte(`# invented example
schema = 1
name = "Shelf"
[strip]
volts = 5
pixels_per_meter = 60
channel_milliamps = 12
[[supply]]
name = "A"
volts = 5.1
amps = 10
[[reel]]
name = "shelf"
pixels = 120
[[feed]]
name = "near"
from = "A"
to = "shelv.start"
metres = 1.5
conductor = "18 AGW"
`))
	fmt.Println(err)
	// Output:
	// shelf.toml:4: strip.pixels_per_metre: is missing (such as pixels_per_metre = 60)
	// shelf.toml:6: strip.pixels_per_meter: is not known here (did you mean "pixels_per_metre"?)
	// shelf.toml:18: feed.to: no reel is named "shelv" (did you mean "shelf"?)
	// shelf.toml:20: feed.conductor: "18 AGW" is not a wire size (such as "18 AWG" or "0.75 mm2")
}

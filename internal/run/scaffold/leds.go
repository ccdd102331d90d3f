package scaffold

import (
	"fmt"
	"strings"
)

// Forward voltage of one LED by channel, V (common practice, no source).
var ledVolts = []struct {
	channel string
	volts   float64
}{{"red", 2.1}, {"green", 3.1}, {"blue", 3.1}, {"white", 3.1}}

// driverVolts is the drop across a linear driver, V (common practice, no source).
const driverVolts = 0.6

// seriesVolts is a run file's key and value for the voltages of LEDs in series, and the reason
// that its comment gives.
type seriesVolts struct{ Key, Volts, Why string }

// SeriesVolts returns the key for the voltages below which the channels lose current; nil where
// the number of LEDs is not known, and for a regulated driver, which does not depend on it.
func (o Options) SeriesVolts() *seriesVolts {
	key, more, why := "knee_volts", driverVolts, "below these a channel dims"
	switch {
	case o.LEDs == 0 || o.Driver == "regulated":
		return nil
	case o.Driver == "resistor":
		key, more, why = "forward_volts", 0, "below these a channel is dark"
	}
	var all []string
	for _, c := range ledVolts {
		if c.channel != "white" || o.White {
			all = append(all, fmt.Sprintf("%s = %.1f", c.channel, float64(o.LEDs)*c.volts+more))
		}
	}
	return &seriesVolts{key, "{" + strings.Join(all, ", ") + "}",
		fmt.Sprintf("%s: %d LEDs in a row at usual voltages (common practice, no source)", why, o.LEDs)}
}

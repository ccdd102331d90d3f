package scaffold

import (
	"fmt"
	"strings"
)

// Forward voltages of one LED by channel, and what a linear driver keeps for itself, in V
// (common practice, no source).
var ledVolts = []struct {
	channel string
	volts   float64
}{{"red", 2.1}, {"green", 3.1}, {"blue", 3.1}, {"white", 3.1}}

const driverVolts = 0.6

// rows is the key, the volts and the reason that follow from the number of LEDs in a row.
type rows struct{ Key, Volts, Why string }

// Rows returns the key of the volts below which a channel starves, or nothing where the
// number of LEDs is not known or the driver is regulated, which hides it.
func (o Options) Rows() *rows {
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
	return &rows{key, "{" + strings.Join(all, ", ") + "}",
		fmt.Sprintf("%s: %d LEDs in a row at usual voltages (common practice, no source)", why, o.LEDs)}
}

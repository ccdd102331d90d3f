package scaffold

import (
	"fmt"
	"strings"

	"ohmkeep/internal/run"
)

// Probe is an instrument that was found at a port.
type Probe struct {
	Name     string
	Profile  string
	Port     string
	Slave    int      // address of a Modbus slave; 0 = it is none
	Notes    []string // what is known of it, a comment each
	Channels []Channel
}

// Channel is one value of a probe.
type Channel struct {
	ID       string
	Quantity run.Quantity
	Shown    string // what it shows now; "" = not known
}

// String returns the probe as a run file has it. Where its channels are connected to is not known: it is left open in a
// comment, and the probe is one that is carried from place to place until that is filled in.
func (p Probe) String() string {
	var b strings.Builder
	for _, note := range p.Notes {
		fmt.Fprintf(&b, "# %s\n", note)
	}
	fmt.Fprintf(&b, "[[probe]]\nname = %s\nprofile = %s\nport = %s\n", quote(p.Name), quote(p.Profile), quote(p.Port))
	if p.Slave > 0 {
		fmt.Fprintf(&b, "slave = %d\n", p.Slave)
	}
	for _, c := range p.Channels {
		fmt.Fprintf(&b, "  [[probe.channel]]\n  id = %s\n  quantity = %s", quote(c.ID), quote(c.Quantity.String()))
		if c.Shown != "" {
			fmt.Fprintf(&b, "   # now: %s", strings.Join(strings.Fields(c.Shown), " "))
		}
		place := "a feed"
		switch c.Quantity {
		case run.Voltage:
			place = "the point at its plus lead"
		case run.Temperature:
			place = "a reel or feed"
		}
		fmt.Fprintf(&b, "\n  # from = \"…\"   # %s, where it stays there\n", place)
		if c.Quantity == run.Voltage {
			b.WriteString("  # to = \"…\"     # the point at its minus lead\n")
		}
	}
	return b.String()
}

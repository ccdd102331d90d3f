package profile

import (
	"fmt"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run/toml"
)

// DisplayChannel is the only channel of a handheld meter: what its display shows.
const DisplayChannel = "display"

// Chip is the chip of a handheld meter, which sends what its display shows.
type Chip string

// The chips whose pictures can be read.
const (
	FS9721  Chip = "fs9721"
	ES51922 Chip = "es51922"
)

var chips = []string{string(FS9721), string(ES51922)}

// Display is how a handheld meter sends its display.
type Display struct {
	Chip Chip
	// CelsiusBit is the user bit of an FS9721, 0 to 3, that is the symbol °C of the meter; −1 = it has none.
	CelsiusBit int
}

func parseDisplay(root, t *toml.Table, ok bool) Display {
	d := Display{CelsiusBit: -1}
	if !ok {
		root.Missing("display", "which chip the meter has")
		return d
	}
	at, _ := indexIn(t, "chip", chips, "")
	d.Chip = Chip(chips[at])
	if t.Has("celsius_bit") {
		d.CelsiusBit = intInRange(t, "celsius_bit", -1, 0, 3)
		if d.Chip != FS9721 {
			t.Fault("celsius_bit", fmt.Sprintf("has no meaning for chip %s", d.Chip), fault.Suggest(string(FS9721), chips))
		}
	}
	return d
}

// WireSettings returns the settings by which the port is opened. A handheld meter's characters of 7 bits and a parity
// bit are received as 8 bits, because the serial library does not make the system check the parity.
func (p *Profile) WireSettings() Port {
	s := p.Port
	if p.Kind == Handheld && s.DataBits == 7 && s.Parity != NoParity {
		s.DataBits, s.Parity = 8, NoParity
	}
	return s
}

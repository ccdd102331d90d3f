package profile

import (
	"fmt"
	"slices"
	"strings"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
)

// value is what a device measures on a channel.
type value struct {
	channel  string // "" = the device names its channels itself
	quantity run.Quantity
}

// values returns what a device measures; nil where the profile does not say it, as for lines of text.
func (p *Profile) values() (all []value) {
	switch p.Kind {
	case SCPI:
		for _, q := range p.Query.Quantities() {
			all = append(all, value{"", q})
		}
	case Hwmon:
		for _, v := range p.Files.Values {
			q, _ := v.Quantity()
			all = append(all, value{v.Channel, q})
		}
	case Modbus:
		for _, v := range p.Registers.Values {
			all = append(all, value{v.Channel, v.Quantity})
		}
	case Handheld:
		for q := range run.QuantityNames {
			all = append(all, value{DisplayChannel, run.Quantity(q)})
		}
	case MQTT:
		for _, v := range p.Messages.Values {
			all = append(all, value{v.Channel, v.Quantity})
		}
	}
	return all
}

// checkUse returns a fault for each setting of a probe that its device has no use for: an interval of queries to a device
// that sends by itself, and channels that it does not have.
func (p *Profile) checkUse(file string, x run.Probe) (faults fault.List) {
	add := func(key, text, hint string) {
		faults.Add(fault.Fault{File: file, Key: "probe " + x.Name + ": " + key, Text: text, Hint: hint})
	}
	if p.Kind.SendsByItself() && x.Every > 0 {
		add("every_seconds", "has no meaning with profile "+x.Profile, "leave it out: the device sends by itself")
	}
	all := p.values()
	for _, c := range x.Channels {
		var quantities []string // of the channel
		var ids []string        // of all channels
		for _, v := range all {
			if v.channel == "" || v.channel == c.ID {
				quantities = append(quantities, v.quantity.String())
			}
			if v.channel != "" && !slices.Contains(ids, v.channel) {
				ids = append(ids, v.channel)
			}
		}
		switch {
		case all == nil || slices.Contains(quantities, c.Quantity.String()):
		case len(quantities) == 0:
			add("channel.id", fmt.Sprintf("profile %s has no channel %q", x.Profile, c.ID), fault.Suggest(c.ID, ids))
		default:
			add("channel.quantity", fmt.Sprintf("profile %s has no %s of channel %q", x.Profile, c.Quantity, c.ID), "known: "+strings.Join(quantities, ", "))
		}
	}
	return faults
}

package runfile

import (
	"errors"
	"fmt"
	"path"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/toml"
)

func (r *reader) readProbes() {
	r.probes = r.root.Tables("probe")
	taken := names{}
	for _, t := range r.probes {
		p := run.Probe{Name: r.readTitle(t, taken), Meter: -1}
		p.Profile = requireText(t, "profile", "which device it is")
		p.Port = requireText(t, "port", "such as /dev/serial/by-id/…")
		p.Every = readNumberOr(t, "every_seconds", 0, between)
		p.Slave = readSlave(t)
		p.Topic = readTopic(t, "topic")
		if p.Port == run.AtBroker && r.run.Broker == nil {
			t.Fault("port", "the run file names no broker", "add [mqtt] with url = \"mqtts://…\"")
		}
		t.Text("meter")
		channels := t.Tables("channel")
		if len(channels) == 0 {
			t.Missing("channel", "a probe has at least one [[probe.channel]]")
		}
		type value struct {
			id string
			of run.Quantity
		}
		values := map[value]bool{} // a line may hold a voltage and a current of one id
		for _, t := range channels {
			c := run.ProbeChannel{
				ID:       requireText(t, "id", "as the device sends it"),
				Quantity: run.Quantity(readChoice(t, "quantity", run.QuantityNames, -1)),
			}
			c.From, _ = t.Text("from")
			c.To, _ = t.Text("to")
			if values[value{c.ID, c.Quantity}] {
				t.Fault("id", fmt.Sprintf("%q is already a channel of this probe for its %s", c.ID, c.Quantity), "")
			}
			values[value{c.ID, c.Quantity}] = true
			c.Shunt = r.shunt(t, c.Quantity)
			p.Channels = append(p.Channels, c)
		}
		r.checkPortFree(t, p)
		r.probeChannels = append(r.probeChannels, channels)
		r.run.Probes = append(r.run.Probes, p)
	}
}

// checkPortFree reports a port that an earlier probe has, because two readers would each get parts of what the
// device sends. Only Modbus slaves with different addresses share a line.
func (r *reader) checkPortFree(t *toml.Table, p run.Probe) {
	if p.Port == "" || !p.OnDevice() {
		return
	}
	for i, other := range r.run.Probes {
		if path.Clean(other.Port) != path.Clean(p.Port) || p.Slave > 0 && other.Slave > 0 && p.Slave != other.Slave {
			continue
		}
		text := fmt.Sprintf("probe %q on line %d has this port already", other.Name, r.probes[i].Line("port"))
		if p.Slave > 0 && p.Slave == other.Slave {
			text = fmt.Sprintf("probe %q on line %d is slave %d on this port already", other.Name, r.probes[i].Line("port"), p.Slave)
		}
		t.Fault("port", text, "one probe for each device, with all its channels; only Modbus slaves share a port, each with its own slave = 1 to 247")
		return
	}
}

// readSlave reads the address of a Modbus slave; 0 = none is stated.
func readSlave(t *toml.Table) int {
	n, ok := t.Whole("slave")
	if ok && (n < 1 || n > 247) {
		t.Fault("slave", fmt.Sprintf("%d is out of range", n), "the addresses of Modbus slaves are 1 to 247")
	}
	return n
}

// shunt reads the correct resistance of a channel's shunt.
func (r *reader) shunt(t *toml.Table, q run.Quantity) float64 {
	const key = "shunt_milliohms"
	x, ok := t.Number(key)
	switch {
	case !ok:
	case q != run.Current:
		t.Fault(key, "a shunt turns volts into a current", "")
	case !(x > 0 && x <= 1e6):
		t.Fault(key, fmt.Sprintf("%g is not above 0 and at most 1e6", x), "")
	}
	return x / 1000
}

// requireText reads a required text that is not empty.
func requireText(t *toml.Table, key, hint string) string {
	s, ok := t.Text(key)
	if !t.Has(key) {
		t.Missing(key, hint)
	} else if ok && s == "" {
		t.Fault(key, "is empty", hint)
	}
	return s
}

// resolveProbes resolves the meters of the probes and the places of their channels.
func (r *reader) resolveProbes() {
	var meters []string
	for _, m := range r.run.Meters {
		meters = append(meters, m.Name)
	}
	for i, t := range r.probes {
		p := &r.run.Probes[i]
		if name, ok := t.Text("meter"); ok {
			if p.Meter = r.run.MeterIndex(name); p.Meter < 0 {
				unknownName(t, "meter", "meter", name, meters)
			}
		}
		for k, t := range r.probeChannels[i] {
			r.resolveChannel(t, *p, p.Channels[k])
		}
	}
}

// resolveChannel checks that the place of a channel is in the run. A portable meter may have a channel
// without a place.
func (r *reader) resolveChannel(t *toml.Table, p run.Probe, c run.ProbeChannel) {
	if c.From == "" {
		if p.Meter >= 0 && r.run.Meters[p.Meter].Each {
			t.Missing("from", "a sensor of its own has its place")
		} else if c.To != "" {
			t.Missing("from", "a voltage is from one point to another")
		}
		return
	}
	if c.Quantity != run.Voltage {
		if c.To != "" {
			t.Fault("to", fmt.Sprintf("a %s has no second end", c.Quantity), "leave it out")
		}
		r.resolveElement(t, c)
		return
	}
	if c.To == "" {
		t.Missing("to", "a voltage is from one point to another")
	}
	for _, key := range []string{"from", "to"} {
		name, ok := t.Text(key)
		if !ok || name == "" {
			continue
		}
		_, err := r.run.Point(name)
		if f := (fault.Fault{}); errors.As(err, &f) {
			t.Fault(key, f.Text, f.Hint)
		}
	}
	if c.From == c.To {
		t.Fault("to", "is the same point as from", "")
	}
}

// resolveElement checks the feed of a current, or the reel or feed of a temperature.
func (r *reader) resolveElement(t *toml.Table, c run.ProbeChannel) {
	var all []string
	for _, f := range r.run.Feeds {
		all = append(all, f.Name)
	}
	what, found := "feed", r.run.FeedIndex(c.From) >= 0
	if c.Quantity == run.Temperature {
		what, found = "reel or feed", found || r.run.ReelIndex(c.From) >= 0
		all = append(all, r.reelNames()...)
	}
	if !found {
		unknownName(t, "from", what, c.From, all)
	}
}

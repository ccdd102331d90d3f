// Package find finds out what is connected to a serial port: it listens with the settings of each profile of a device
// that sends by itself, and reads what it received by that profile. Only where nothing was received at all it asks:
// for the identity of a meter, and for the registers of a slave.
//
// A device that sends more seldom than Options.Listen is taken for silent, and is asked. What is found is a guess: two
// devices may send the same form, and a wrong rate may look like another device.
package find

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/port"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
)

// Options are how it is searched. Every field must be set.
type Options struct {
	Profiles []*profile.Profile
	Listen   time.Duration // with each setting of the port
	Ask      bool          // a port where nothing was received
	Answer   time.Duration // in which a device has to answer
	Slaves   int           // addresses of slaves that are asked: 1 to this
}

// Usual returns the usual options for the shipped profiles.
func Usual() (Options, error) {
	o := Options{Listen: 1500 * time.Millisecond, Ask: true, Answer: time.Second, Slaves: 3}
	for _, name := range profile.Names() {
		p, err := profile.Load(name, "")
		if err != nil {
			return o, err
		}
		if p.Kind.Recordable() || p.Kind == profile.Modbus { // on a serial port
			o.Profiles = append(o.Profiles, p)
		}
	}
	return o, nil
}

// Found is what seems to be connected to a port.
type Found struct {
	Port     string
	Profile  *profile.Profile // nil: nothing that a profile reads
	Settings profile.Port     // by which it was read; others than the profile's where a copy of that is needed
	Slave    int              // address, of a Modbus slave
	Identity string           // as the device sends it
	Samples  []reading.Sample // the newest of each channel and quantity
	Lines    uint64           // lines or pictures received …
	Bad      uint64           // … and those of another form
	Received []byte           // where no profile reads it: what was received, by Settings
	Err      error            // why the port could not be searched
}

// Certain reports whether what was received leaves little doubt: at least three lines or pictures, at most one of
// which was bad, or an answer with a checksum.
func (f Found) Certain() bool {
	if f.Profile == nil {
		return false
	}
	return f.Slave > 0 || f.Profile.Kind.SendsByItself() && f.Lines >= enough && f.Bad <= 1
}

// SettingsDiffer reports whether a profile was understood with other settings of the port than its own.
func (f Found) SettingsDiffer() bool {
	return f.Profile != nil && (f.Settings.Baud != f.Profile.Port.Baud || f.Settings.Parity != f.Profile.Port.Parity)
}

// Text returns received bytes as text where they are lines of text.
func (f Found) Text() (line string, ok bool) {
	list := strings.Split(strings.ReplaceAll(string(f.Received), "\r", ""), "\n")
	if len(list) < 2 {
		return "", false
	}
	line = list[0]
	if len(list) > 2 {
		line = list[1] // the first one may be a rest
	}
	plain := func(r rune) bool { return r == utf8.RuneError || r < ' ' && r != '\t' }
	return line, line != "" && !strings.ContainsFunc(line, plain)
}

// Ports searches several ports at once. The result is in the order of the paths.
func Ports(ctx context.Context, paths []string, o Options) []Found {
	list := make([]Found, len(paths))
	var all sync.WaitGroup
	for i, path := range paths {
		all.Go(func() { list[i] = Port(ctx, path, o) })
	}
	all.Wait()
	return list
}

// enough is how many good lines or pictures end the listening.
const enough = 3

// Port searches one port.
func Port(ctx context.Context, path string, o Options) Found {
	received := false
	var unknown Found
	for _, s := range settingsOf(o.Profiles) {
		bytes, err := listen(ctx, path, s, o)
		if err != nil {
			return Found{Port: path, Err: err}
		}
		received = received || len(bytes) > 0
		if f, ok := understand(ctx, path, bytes, s, o.Profiles, false); ok {
			return f
		}
		if f, ok := understand(ctx, path, bytes, s, o.Profiles, true); ok && unknown.Profile == nil {
			unknown = f // a known form, at another rate than the profile's
		}
		if unknown.Profile == nil && better(bytes, unknown.Received) {
			unknown = Found{Port: path, Settings: s, Received: bytes}
		}
	}
	switch {
	case received:
		return unknown
	case !o.Ask:
		return Found{Port: path}
	}
	return ask(ctx, path, o)
}

// settingsOf returns the different settings of the profiles of devices that send by themselves, each once.
func settingsOf(profiles []*profile.Profile) (list []profile.Port) {
	seen := map[string]bool{}
	for _, p := range profiles {
		if s := p.WireSettings(); p.Kind.SendsByItself() && !seen[key(s)] {
			seen[key(s)] = true
			list = append(list, s)
		}
	}
	return list
}

// key is the same for settings that make the same of the line.
func key(s profile.Port) string { return fmt.Sprint(s.Baud, s.DataBits, s.Parity, s.StopBits) }

// better reports whether bytes tell more than others: they are text and those are none, or there were none.
func better(bytes, than []byte) bool {
	_, text := Found{Received: bytes}.Text()
	_, before := Found{Received: than}.Text()
	return len(bytes) > 0 && (len(than) == 0 || text && !before)
}

// listen returns what is received with some settings, until a profile with these settings has understood enough of
// it. Nothing is written.
func listen(ctx context.Context, path string, s profile.Port, o Options) ([]byte, error) {
	if err := instrument.CheckPort(path); err != nil {
		return nil, err
	}
	wire, err := port.OpenRaw(ctx, path, s)
	if err != nil {
		return nil, err
	}
	defer wire.Close()
	var received []byte
	buffer := make([]byte, 4096)
	for begun := time.Now(); time.Since(begun) < o.Listen; {
		n, err := wire.Read(buffer)
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			return nil, err
		}
		if received = append(received, buffer[:n]...); n == 0 || len(received) > maxReceived {
			continue
		}
		if f, ok := understand(ctx, path, received, s, o.Profiles, false); ok && f.Lines-f.Bad >= enough {
			break
		}
	}
	return received[:min(len(received), maxReceived)], nil
}

// maxReceived is the most bytes of a port that are looked at.
const maxReceived = 1 << 15

// understand returns the profile that reads most of what was received. Profiles of lines are also tried with the
// settings of others, where any is true.
func understand(ctx context.Context, path string, received []byte, s profile.Port, profiles []*profile.Profile, others bool) (Found, bool) {
	var best Found
	for _, p := range profiles {
		same := key(p.WireSettings()) == key(s)
		if !p.Kind.SendsByItself() || len(received) == 0 || !same && !(others && p.Kind == profile.Lines) {
			continue
		}
		f := read(ctx, path, received, p)
		if f.Settings = p.Port; !same {
			f.Settings = s
		}
		good := f.Lines - f.Bad
		if len(f.Samples) > 0 && f.Bad <= 1+good/10 && (best.Profile == nil || good > best.Lines-best.Bad) {
			best = f
		}
	}
	return best, best.Profile != nil
}

// read reads received bytes by a profile.
func read(ctx context.Context, path string, received []byte, p *profile.Profile) Found {
	f := Found{Port: path, Profile: p}
	device, err := instrument.Open(ctx, p, "", instrument.Options{Conn: newMemory(received)})
	if err != nil {
		return f
	}
	defer device.Close()
	for {
		s, err := device.Next(ctx)
		if err != nil {
			break // the end of what was received
		}
		f.Samples = newest(f.Samples, s)
	}
	c := device.Counters()
	f.Identity, f.Lines, f.Bad = device.Identity(), c.Lines-c.Skipped-c.Comment, c.Bad
	return f
}

// newest puts a sample in place of the one of the same channel and quantity.
func newest(list []reading.Sample, s reading.Sample) []reading.Sample {
	for i, x := range list {
		if x.Channel == s.Channel && x.Quantity == s.Quantity {
			list[i] = s
			return list
		}
	}
	return append(list, s)
}

package runfile

import (
	"fmt"
	"slices"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/toml"
)

var (
	drivers  = []string{"linear", "resistor", "regulated"}
	colours  = []string{"red", "green", "blue", "white"}
	standard = []string{"red", "green", "blue"}
)

// setting is the value of one strip key; from is the table that sets it, nil for none.
type setting struct {
	from  *toml.Table
	key   string
	value float64
	by    map[string]float64 // by channel, where the file has a table
	table *toml.Table        // that table
}

// of returns the value for a channel.
func (s setting) of(channel string) (float64, bool) {
	if s.from == nil || s.by == nil {
		return s.value, s.from != nil
	}
	x, ok := s.by[channel]
	return x, ok
}

// settings are the strip keys of one table, [strip] or a reel.
type settings struct {
	own                            *toml.Table
	volts, density, idle, loop     setting
	milliamps, forward, knee, ohms setting
	driver                         run.Driver
	driverFrom                     *toml.Table
	channels                       []string
	channelsFrom                   *toml.Table
	primaries                      primaries
	batch                          string
}

// readStrip reads the settings of every reel without settings of its own.
func (r *reader) readStrip() {
	if t, ok := r.root.Table("strip"); ok {
		r.stripTable, r.strip = t, readSettings(t)
	}
}

func readSettings(t *toml.Table) settings {
	s := settings{
		own:       t,
		volts:     readForAllChannels(t, "volts", volts),
		density:   readForAllChannels(t, "pixels_per_metre", density),
		idle:      readForAllChannels(t, "idle_milliamps", idleCurrent),
		loop:      readForAllChannels(t, "loop_milliohms_per_metre", milliohms),
		milliamps: readByChannel(t, "channel_milliamps", milliamps),
		forward:   readByChannel(t, "forward_volts", span{0, 60, false, " V"}),
		knee:      readByChannel(t, "knee_volts", volts),
		ohms:      readByChannel(t, "ohms", ohms),
		primaries: readPrimaries(t),
		batch:     readText(t, "batch"),
	}
	if t.Has("driver") {
		s.driver, s.driverFrom = run.Driver(readChoice(t, "driver", drivers, 0)), t
	}
	if list, ok := t.Texts("channels"); ok {
		s.channels, s.channelsFrom = channelList(t, list), t
	}
	return s
}

func readForAllChannels(t *toml.Table, key string, s span) setting {
	if x, ok := readNumber(t, key, s); ok {
		return setting{from: t, key: key, value: x}
	}
	return settingOf(t, key)
}

// settingOf returns a setting for a key with a wrong value, so that it is not reported as missing too.
func settingOf(t *toml.Table, key string) setting {
	if t.Has(key) {
		return setting{from: t, key: key}
	}
	return setting{}
}

// readByChannel reads a number, or a table with one number for each channel.
func readByChannel(t *toml.Table, key string, s span) setting {
	x, table, ok := t.NumberOrTable(key)
	if !ok || table == nil && !checkSpan(t, key, x, s) {
		return settingOf(t, key)
	}
	set := setting{from: t, key: key, value: x}
	if table != nil {
		set.by, set.table = map[string]float64{}, table
		for _, channel := range table.Keys() {
			set.by[channel], _ = readNumber(table, channel, s)
		}
	}
	return set
}

// channelList checks the names of a pixel's channels.
func channelList(t *toml.Table, list []string) []string {
	if len(list) == 0 {
		t.Fault("channels", "is empty", "a pixel has at least one channel")
	}
	for i, name := range list {
		if !slices.Contains(colours, name) {
			t.Fault("channels", fmt.Sprintf("no channel is named %q", name), fault.Suggest(name, colours))
		} else if slices.Contains(list[:i], name) {
			t.Fault("channels", fmt.Sprintf("holds %q twice", name), "")
		}
	}
	return list
}

// over returns the settings of a reel over those of the strip. A reel with a driver of its own does
// not inherit the figures of another driver.
func (s settings) over(base settings) settings {
	if s.driverFrom != nil && s.driver != base.driver {
		base.forward, base.knee, base.ohms = setting{}, setting{}, setting{}
	}
	for _, pair := range [][2]*setting{
		{&s.volts, &base.volts}, {&s.density, &base.density}, {&s.idle, &base.idle}, {&s.loop, &base.loop},
		{&s.milliamps, &base.milliamps}, {&s.forward, &base.forward}, {&s.knee, &base.knee}, {&s.ohms, &base.ohms},
	} {
		if pair[0].from == nil {
			*pair[0] = *pair[1]
		}
	}
	s.primaries = s.primaries.over(base.primaries)
	if s.batch == "" {
		s.batch = base.batch
	}
	if s.driverFrom == nil {
		s.driver, s.driverFrom = base.driver, base.driverFrom
	}
	if s.channelsFrom == nil {
		s.channels, s.channelsFrom = base.channels, base.channelsFrom
	}
	return s
}

// finish returns the strip of a reel's settings; home is the table to name for a missing key.
func (s settings) finish(home *toml.Table) run.Strip {
	if s.volts.from == nil {
		home.Missing("volts", "what the strip is rated at, such as volts = 5.0")
	}
	if s.density.from == nil {
		home.Missing("pixels_per_metre", "such as pixels_per_metre = 60")
	}
	if s.milliamps.from == nil && s.ohms.from == nil {
		home.Missing("channel_milliamps", "one channel of one pixel at level 1, such as channel_milliamps = 12.0")
	}
	if s.channelsFrom == nil {
		s.channels = standard
	}
	s.checkKeys()
	strip := run.Strip{
		Volts:          s.volts.value,
		PixelsPerMetre: s.density.value,
		Driver:         s.driver,
		Idle:           s.idle.value / 1000,
		LoopOhms:       s.loop.value / 1000,
		Batch:          s.batch,
	}
	for _, name := range s.channels {
		strip.Channels = append(strip.Channels, s.channel(name))
	}
	return strip
}

// checkKeys reports keys that the driver does not use, and channels that the strip does not have.
func (s settings) checkKeys() {
	for _, key := range []struct {
		setting
		of []run.Driver
	}{
		{s.milliamps, []run.Driver{run.Linear, run.Resistor, run.Regulated}},
		{s.forward, []run.Driver{run.Linear, run.Resistor}},
		{s.knee, []run.Driver{run.Linear, run.Regulated}},
		{s.ohms, []run.Driver{run.Resistor}},
	} {
		if key.from == nil {
			continue
		}
		if !slices.Contains(key.of, s.driver) {
			key.from.Fault(key.key, fmt.Sprintf("means nothing for a %s driver", s.driver), "")
		}
		if key.from != s.own && s.channelsFrom == s.own {
			continue // the strip's table may well have channels that this reel has not
		}
		for name := range key.by {
			if !slices.Contains(s.channels, name) {
				key.table.Fault(name, "is not a channel of the strip", fault.Suggest(name, s.channels))
			}
		}
	}
	if s.primaries.from == s.own || s.channelsFrom != s.own {
		s.primaries.check(s.channels)
	}
}

package runfile

import (
	"fmt"
	"slices"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run/colour"
	"ohmkeep/internal/run/toml"
)

// primary is the light of one channel at level 1 and rated volts: its chromaticity
// and its luminous intensity, of which only the ratio between channels matters.
type primary struct {
	at           colour.XY
	millicandela float64
}

// usualLight is the light of channels that the file does not describe (common practice, no source):
// red, green and blue chips that together give a white of about 6800 K, and a white by a phosphor.
var usualLight = map[string]primary{
	"red":   {colour.Peak(625, 18), 400},
	"green": {colour.Peak(523, 32), 850},
	"blue":  {colour.Peak(468, 24), 100},
	"white": {colour.White(4000, 0), 1000},
}

// usualWidth is the width of an LED's spectrum at half of its peak, nm, where a file
// states the peak alone (common practice, no source).
const usualWidth = 25

var (
	wavelength   = span{400, 700, false, " nm"}
	width        = span{10, 200, false, " nm"}
	chromaticity = span{0, 1, false, ""}
	kelvin       = span{1000, 20_000, false, " K"}
	duv          = span{-0.05, 0.05, false, ""}
	millicandela = span{0, 1e6, true, " mcd"}
)

// primaries hold the descriptions of the channels' light in a file.
type primaries struct {
	by    map[string]primary
	table *toml.Table // [primaries] of the reel, otherwise of the strip; nil if there is none
	from  *toml.Table // the reel's or strip's table that it is in
}

func readPrimaries(t *toml.Table) primaries {
	p := primaries{by: map[string]primary{}, from: t}
	if !t.Has("primaries") {
		return p
	}
	p.table, _ = t.Table("primaries")
	if p.table == nil {
		return p
	}
	for _, name := range colours {
		if one, ok := p.table.Table(name); ok {
			p.by[name] = readPrimary(one, usualLight[name])
		}
	}
	return p
}

// readPrimary reads the light of one channel: a peak, a chromaticity, a colour temperature, or none
// of them for the usual one.
func readPrimary(t *toml.Table, usual primary) primary {
	p := primary{usual.at, readNumberOr(t, "millicandela", usual.millicandela, millicandela)}
	ways := [][]string{{"nanometres", "width_nanometres"}, {"x", "y"}, {"kelvin", "duv"}}
	said := ""
	for _, way := range ways {
		first, second := t.Has(way[0]), t.Has(way[1])
		if !first && !second {
			continue
		}
		key := way[0]
		if !first {
			key = way[1]
			t.Missing(way[0], fmt.Sprintf("%s says nothing without it", way[1]))
		}
		if said != "" {
			t.Fault(key, fmt.Sprintf("is given together with %s", said), "a peak, a chromaticity x and y, or a colour temperature: one of them")
		}
		said = key
	}
	if at, ok := readPeak(t); ok {
		p.at = at
	}
	if at, ok := readChromaticity(t); ok {
		p.at = at
	}
	if k, ok := readNumber(t, "kelvin", kelvin); ok {
		p.at = colour.White(k, readNumberOr(t, "duv", 0, duv))
	}
	return p
}

func readPeak(t *toml.Table) (colour.XY, bool) {
	peak, ok := readNumber(t, "nanometres", wavelength)
	wide := readNumberOr(t, "width_nanometres", usualWidth, width)
	if !ok {
		return colour.XY{}, false
	}
	return colour.Peak(peak, wide), true
}

func readChromaticity(t *toml.Table) (colour.XY, bool) {
	x, hasX := readNumber(t, "x", chromaticity)
	y, hasY := readNumber(t, "y", chromaticity)
	if t.Has("x") && !t.Has("y") {
		t.Missing("y", "a chromaticity is x and y")
	}
	at := colour.XY{X: x, Y: y}
	if hasX && hasY && !at.Real() {
		t.Fault("y", fmt.Sprintf("no light has x = %g and y = %g", x, y), "y is above 0, and x and y together are at most 1")
	}
	return at, hasX && hasY && at.Real()
}

// over returns the values of a reel where it has them and those of the strip otherwise, by channel.
func (p primaries) over(base primaries) primaries {
	for name, one := range base.by {
		if _, said := p.by[name]; !said {
			p.by[name] = one
		}
	}
	if p.table == nil {
		p.table, p.from = base.table, base.from
	}
	return p
}

// check reports channels that the strip does not have.
func (p primaries) check(channels []string) {
	if p.table == nil {
		return
	}
	for name := range p.by {
		if p.table.Has(name) && !slices.Contains(channels, name) {
			p.table.Fault(name, "is not a channel of the strip", fault.Suggest(name, channels))
		}
	}
}

// has reports whether the file describes a channel's light.
func (p primaries) has(channel string) bool {
	_, said := p.by[channel]
	return said
}

// light returns the light of one channel at level 1 and rated volts.
func (p primaries) light(channel string) colour.XYZ {
	one, ok := p.by[channel]
	if !ok {
		one = usualLight[channel]
	}
	if one.at.Y <= 0 { // a channel of an unknown name is reported already
		return colour.XYZ{}
	}
	return one.at.Light(one.millicandela)
}

package cli

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/simulate/devices"
)

// handheld is what the shelf's run file says of a handheld meter on a port.
func handheld(profile, quantity, port string) string {
	place := `from = "near"`
	if quantity == "voltage" {
		place = "from = \"left.start+\"\n  to = \"left.start-\""
	}
	return fmt.Sprintf("[[probe]]\nname = \"hand\"\nprofile = %q\nport = %q\n  [[probe.channel]]\n  id = \"display\"\n  quantity = %q\n  %s\n", profile, port, quantity, place)
}

// cut removes a byte of a picture, twice sends it twice, flip flips a bit of it.
func cut(picture []byte, at int) []byte { return append(bytes.Clone(picture[:at]), picture[at+1:]...) }
func twice(picture []byte, at int) []byte {
	return append(bytes.Clone(picture[:at+1]), picture[at:]...)
}
func flip(picture []byte, at, bit int) []byte {
	x := bytes.Clone(picture)
	x[at] ^= 1 << bit
	return x
}

// A handheld meter on a pseudo-terminal, from the bytes to the export: values digit by digit, the marked ones not
// among them, broken pictures counted, and the picture behind each read right. Each picture is sent once.
func TestWatchHandheld(t *testing.T) {
	segment := func(shown string, symbols string) []byte {
		return devices.SegmentPicture(shown, strings.Fields(symbols)...)
	}
	volts := func(shown string) []byte { return segment(shown, "V DC auto RS232") }
	character := func(shown, unit, symbols string) []byte {
		return devices.CharacterPicture(shown, unit, strings.Fields(symbols)...)
	}
	for _, c := range []struct {
		profile, quantity string
		sent              [][]byte
		want              []string // of the export
		bad               int
	}{
		{"fs9721", "voltage", [][]byte{
			volts("4.812"), volts("-0.004"), volts("04.81"), segment("123.4", "m V DC"), segment("  5.0", "V DC"),
			volts("1.111")[:9], volts("4.821"), // cut at its end
			cut(volts("1.112"), 0), volts("4.822"), twice(volts("1.113"), 5), volts("4.823"),
			flip(volts("1.114"), 5, 6), volts("4.824"), flip(volts("1.115"), 13, 5), volts("4.825"),
			flip(volts("8.000"), 3, 0), volts("4.826"), // segments that are no digit
			segment("1.200", "V AC"), segment("1.201", "V DC hold"), segment("1.202", "V DC relative"), segment("0.613", "V diode"),
			segment("1.204", "V DC battery"), segment(" 0.L ", "V DC"), segment("1.205", "A DC"), segment("1.206", "k ohm"),
			volts("4.827"),
		}, []string{"4.812,V", "-0.004,V", "04.81,V", "123.4,mV", "5.0,V", "4.821,V", "4.822,V", "4.823,V", "4.824,V", "4.825,V", "4.826,V", "4.827,V"}, 6},
		{"es51922", "voltage", [][]byte{
			character("1.8120", "V", "DC"), character("-12.345", "V", "DC auto"), devices.OddParity(character("048.12", "mV", "DC")),
			character("1.1111", "V", "DC")[:9], character("12.001", "V", "DC"),
			cut(character("1.1112", "V", "DC"), 4), character("12.002", "V", "DC"), twice(character("1.2345", "V", "DC"), 3), character("12.003", "V", "DC"),
			flip(devices.OddParity(character("1.1113", "V", "DC")), 3, 0), devices.OddParity(character("12.004", "V", "DC")),
			flip(character("1.1114", "V", "DC"), 12, 2), character("12.005", "V", "DC"),
			character("1.2000", "V", "AC"), character("1.2010", "V", "DC hold"), character("1.2020", "V", "DC relative"),
			character("0.6130", "diode", ""), character("1.2040", "V", "DC battery"), character("2.2000", "V", "DC overload"),
			character("12.050", "A", "DC"), character("120.60", "ohm", ""),
			character("12.006", "V", "DC"),
		}, []string{"1.8120,V", "-12.345,V", "048.12,mV", "12.001,V", "12.002,V", "12.003,V", "12.004,V", "12.005,V", "12.006,V"}, 5},
		{"es51922", "current", [][]byte{
			character("02.310", "A", "DC"), character("123.45", "mA", "DC"), character("12.345", "V", "DC"), character("1234.5", "uA", "DC VBAR"),
		}, []string{"02.310,A", "123.45,mA", "1234.5,A"}, 0},
	} {
		t.Run(c.profile+" "+c.quantity, func(t *testing.T) {
			s := newParallelSession(t)
			pair := s.terminal()
			s.write("shelf.toml", shelf+handheld(c.profile, c.quantity, pair.Path))
			w := s.watch("--commit", "100ms")
			for _, picture := range c.sent {
				if _, err := pair.Device.Write(picture); err != nil {
					t.Fatal(err)
				}
			}
			w.shows(fmt.Sprintf(`ohmkeep_readings_total{probe="hand",run="Book shelf"} %d`, len(c.want)))
			w.shows(fmt.Sprintf(`ohmkeep_bad_lines_total{probe="hand",run="Book shelf"} %d`, c.bad))
			w.ends()
			var got []string
			for line := range strings.Lines(s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out) {
				if part := strings.Split(strings.TrimSpace(line), ","); part[0] != "time" {
					got = append(got, part[5]+","+part[6])
					if part[2] != c.quantity || part[7] != c.profile {
						t.Errorf("got %s", line)
					}
				}
			}
			if strings.Join(got, " ") != strings.Join(c.want, " ") {
				t.Errorf("exported %q\nwant     %q", got, c.want)
			}
		})
	}
}

// Handheld meters of both chips are checked, recorded and replayed; a wrong profile gets advice.
func TestProbeHandheld(t *testing.T) {
	s := newParallelSession(t)
	for chip, pictures := range map[string][2][]byte{
		"fs9721":  {devices.SegmentPicture("1.812", "V", "DC"), devices.SegmentPicture("0.613", "V", "diode")},
		"es51922": {devices.OddParity(devices.CharacterPicture("1.8120", "V", "DC")), devices.OddParity(devices.CharacterPicture("1.8120", "V", "DC", "hold"))},
	} {
		port := terminal(t, func(p *devices.Pair) runner {
			n := 0
			return devices.NewHandheld(p, func() []byte { n++; return pictures[n%2] }, 5*time.Millisecond)
		})
		flags := ` --port ` + port + ` --seconds SECONDS`
		s.hears(`ohmkeep probe check --profile `+chip+flags, Passes, "→ display voltage 1.812",
			"→ display voltage unusable: the display shows", " 0 bad")
		s.hears(`ohmkeep probe check --profile plain-lines`+flags, Fails, "hint: ")
		s.records(chip+".txt", " < ", `ohmkeep probe record --profile `+chip+` --port `+port+` --out `+chip+`.txt`).says(", 0 bad")
		s.do(`ohmkeep probe replay `+chip+`.txt`).exits(Passes).prints("display  voltage      1.812").says(chip+".txt by profile "+chip+": ", "0 bad")
		other := map[string]string{"fs9721": "es51922", "es51922": "fs9721"}[chip]
		s.hears(`ohmkeep probe check --profile `+other+flags, Fails, "hint: no picture of chip "+other+" was received: another chip, another rate than ")
	}
}

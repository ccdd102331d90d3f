package runfile

import (
	"fmt"
	"strings"
	"testing"
)

// base is a run without fault, one thing a line; the cases break one thing each.
const base = `schema = 1
name = "Hall"
[strip]
volts = 5.0
pixels_per_metre = 60
channels = ["red", "green", "blue"]
driver = "linear"
channel_milliamps = 12.0
idle_milliamps = 0.8
loop_milliohms_per_metre = 80.0
[[supply]]
name = "A"
volts = 5.1
amps = 20
[[reel]]
name = "west"
pixels = 240
[[reel]]
name = "north"
metres = 5.0
[[joint]]
between = ["west", "north"]
plus = "joined"
[[junction]]
name = "block"
[[feed]]
name = "trunk"
from = "A"
to = "block"
milliohms = 20
[[feed]]
name = "near"
from = "block"
to = "west.start"
metres = 2.5
conductor = "18 AWG"
fuse_amps = 5
[[step]]
name = "white 5 %"
red = 0.05
[[meter]]
name = "hand"
errors = "common"
[[meter.range]]
quantity = "voltage"
up_to = 6.0
resolution = 0.001
percent = 0.5
counts = 3
[limits]
joint_milliohms = 15
design_step = "white 5 %"
[[probe]]
name = "board"
profile = "plain-lines"
port = "/dev/serial/by-id/invented"
meter = "hand"
[[probe.channel]]
id = "1"
quantity = "current"
from = "near"
`

// TestChannel: an id may have a channel for each quantity, and a shunt of its own.
func TestChannel(t *testing.T) {
	r, err := Parse("f.toml", []byte(base+"shunt_milliohms = 1.96\n[[probe.channel]]\nid = \"1\"\nquantity = \"temperature\"\nfrom = \"near\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	if c := r.Probes[0].Channels; len(c) != 2 || c[0].Shunt != 0.00196 || c[1].Shunt != 0 {
		t.Errorf("%+v", c)
	}
}

// TestBase: base is without fault, with a junction to spare as well.
func TestBase(t *testing.T) {
	r, err := Parse("f.toml", []byte(base+"[[junction]]\nname = \"spare\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	checkInvariants(t, r)
}

// TestFaults replaces the text from in base by to. Each expected fault is given as parts
// separated by |; the first is the beginning of the message, with its key. Its line is the
// first changed line plus after.
func TestFaults(t *testing.T) {
	for _, c := range []struct {
		from, to string
		after    int
		want     string
	}{
		{`schema = 1`, `schema = 2`, 0, `schema: 2 is not a form of run file|schema = 1`},
		{`name = "Hall"`, `name = ""`, 0, `name: "" is empty`},
		{`name = "Hall"`, `nam = "Hall"`, 0, `nam: is not known here|did you mean "name"?`},
		{`name = "Hall"`, "name = \"Hall\"\nambient_celsius = 400", 1, `ambient_celsius: 400 is out of range|-40 to 90 °C`},
		{`[strip]`, `[strap]`, 0, `strap: is not known here|did you mean "strip"?`},

		{`volts = 5.0`, `volts = 230`, 0, `strip.volts: 230 is out of range|up to 60 V`},
		{`volts = 5.0`, `volts = -5`, 0, `strip.volts: -5 is out of range|more than 0`},
		{`volts = 5.0`, `volts = nan`, 0, `strip.volts: nan is not a finite number`},
		{`volts = 5.0`, `volts = "5"`, 0, `strip.volts: is a text, not a number`},
		{`volts = 5.0`, `volt = 5.0`, 0, `strip.volt: is not known here|did you mean "volts"?`},
		{`pixels_per_metre = 60`, `pixels_per_metre = 0`, 0, `strip.pixels_per_metre: 0 is out of range|more than 0`},
		{`driver = "linear"`, `driver = "liner"`, 0, `strip.driver: "liner" is not known here|did you mean "linear"?`},
		{`channels = ["red", "green", "blue"]`, `channels = ["red", "grean", "blue"]`, 0, `strip.channels: no channel is named "grean"|did you mean "green"?`},
		{`channels = ["red", "green", "blue"]`, `channels = ["red", "red"]`, 0, `strip.channels: holds "red" twice`},
		{`channels = ["red", "green", "blue"]`, `channels = []`, 0, `strip.channels: is empty`},
		{`channel_milliamps = 12.0`, `channel_milliamps = 0`, 0, `strip.channel_milliamps: 0 is out of range|mA`},
		{`channel_milliamps = 12.0`, `channel_milliamps = {red = 12, green = 12}`, 0, `strip.channel_milliamps.blue: is missing`},
		{`channel_milliamps = 12.0`, `channel_milliamps = {red = 12, green = 12, blu = 12, blue = 12}`, 0, `strip.channel_milliamps.blu: is not a channel of the strip|did you mean "blue"?`},
		{`idle_milliamps = 0.8`, `idle_milliamps = -1`, 0, `strip.idle_milliamps: -1 is out of range|0 to 1000 mA`},
		{`idle_milliamps = 0.8`, `knee_volts = 6`, 0, `strip.knee_volts: red: 6 V is above the rated 5 V`},
		{`idle_milliamps = 0.8`, `forward_volts = 5`, 0, `strip.forward_volts: red: 5 V is not below the knee`},
		{`idle_milliamps = 0.8`, `ohms = 100`, 0, `strip.ohms: means nothing for a linear driver`},
		{`loop_milliohms_per_metre = 80.0`, `loop_milliohms_per_metre = -80`, 0, `strip.loop_milliohms_per_metre: -80 is out of range`},
		{`driver = "linear"`, "driver = \"resistor\"\nforward_volts = 6", 1, `strip.forward_volts: red: 6 V is not below the rated 5 V`},
		{`driver = "linear"`, "driver = \"resistor\"\nforward_volts = 2\nohms = 1000", 2, `strip.ohms: red: 1000 Ω and channel_milliamps contradict each other|is 250 Ω`},
		{`driver = "linear"`, "driver = \"resistor\"\nohms = 1000", 1, `strip.ohms: red: 1000 Ω at 12 mA is more than the rated 5 V`},
		{`driver = "linear"`, `primaries = {red = {nanometres = 350}}`, 0, `strip.primaries.red.nanometres: 350 is out of range|400 to 700 nm`},
		{`driver = "linear"`, `primaries = {red = {nanometres = 625, width_nanometres = 5}}`, 0, `strip.primaries.red.width_nanometres: 5 is out of range|10 to 200 nm`},
		{`driver = "linear"`, `primaries = {red = {width_nanometres = 20}}`, 0, `strip.primaries.red.nanometres: is missing|width_nanometres says nothing`},
		{`driver = "linear"`, `primaries = {red = {x = 0.6}}`, 0, `strip.primaries.red.y: is missing|x and y`},
		{`driver = "linear"`, `primaries = {red = {y = 0.6}}`, 0, `strip.primaries.red.x: is missing|y says nothing`},
		{`driver = "linear"`, `primaries = {red = {x = 0.7, y = 0.4}}`, 0, `strip.primaries.red.y: no light has x = 0.7 and y = 0.4|at most 1`},
		{`driver = "linear"`, `primaries = {red = {x = 0.7, y = 0}}`, 0, `strip.primaries.red.y: no light has`},
		{`driver = "linear"`, `primaries = {red = {x = 1.7, y = 0.1}}`, 0, `strip.primaries.red.x: 1.7 is out of range`},
		{`driver = "linear"`, `primaries = {red = {kelvin = 500}}`, 0, `strip.primaries.red.kelvin: 500 is out of range|1000 to 20000 K`},
		{`driver = "linear"`, `primaries = {red = {duv = 0.01}}`, 0, `strip.primaries.red.kelvin: is missing|duv says nothing`},
		{`driver = "linear"`, `primaries = {red = {kelvin = 3000, duv = 0.1}}`, 0, `strip.primaries.red.duv: 0.1 is out of range`},
		{`driver = "linear"`, `primaries = {red = {nanometres = 625, x = 0.6, y = 0.3}}`, 0, `strip.primaries.red.x: is given together with nanometres|one of them`},
		{`driver = "linear"`, `primaries = {red = {kelvin = 3000, x = 0.6, y = 0.3}}`, 0, `strip.primaries.red.kelvin: is given together with x|one of them`},
		{`driver = "linear"`, `primaries = {red = {millicandela = 0}}`, 0, `strip.primaries.red.millicandela: 0 is out of range|more than 0`},
		{`driver = "linear"`, `primaries = {red = {lumen = 3}}`, 0, `strip.primaries.red.lumen: is not known here`},
		{`driver = "linear"`, `primaries = {red = 625}`, 0, `strip.primaries.red: is a number, not a table`},
		{`driver = "linear"`, `primaries = 3`, 0, `strip.primaries: is a number, not a table|[strip.primaries]`},
		{`driver = "linear"`, `primaries = {rad = {nanometres = 625}}`, 0, `strip.primaries.rad: is not known here|did you mean "red"?`},
		{`driver = "linear"`, `primaries = {white = {kelvin = 3000}}`, 0, `strip.primaries.white: is not a channel of the strip`},

		{`amps = 20`, `amp = 20`, 0, `supply.amp: is not known here|did you mean "amps"?`},
		{`name = "A"`, `name = "A+"`, 0, `supply.name: "A+" cannot hold '+'|letters, digits`},
		{`volts = 5.1`, `volts = 0`, 0, `supply.volts: 0 is out of range`},

		{`name = "west"`, `name = "we.st"`, 0, `reel.name: "we.st" cannot hold '.'`},
		{`name = "west"`, `name = "west-"`, 0, `reel.name: "west-" begins or ends with a hyphen`},
		{`name = "west"`, `name = " west"`, 0, `reel.name: " west" is empty or begins or ends with a space`},
		{`name = "west"`, `name = "we,st"`, 0, `reel.name: "we,st" holds quotation marks, a comma`},
		{`name = "north"`, `name = "west"`, 0, `reel.name: "west" is already the name of what begins on line 15`},
		{`pixels = 240`, `pixels = 240.5`, 0, `reel.pixels: 240.5 is not a whole number`},
		{`pixels = 240`, `pixels = 0`, 0, `reel.pixels: 0 is out of range|1 to 1000000`},
		{`pixels = 240`, "pixels = 240\nmetres = 5", 0, `reel.pixels: 240 pixels and 5 metres contradict each other|are 300 pixels`},
		{`metres = 5.0`, `metres = 0.001`, 0, `reel.metres: 0.001 m at 60 pixels per metre are 0 pixels`},
		{`metres = 5.0`, ``, -2, `reel.pixels: is missing|metres = 4.0`},
		{`metres = 5.0`, "metres = 5.0\nfollows = \"wset\"", 1, `reel.follows: no reel is named "wset"|did you mean "west"?`},
		{`pixels = 240`, "pixels = 240\nfollows = \"north\"", 1, `reel.follows: reel "west" follows itself`},
		{`pixels = 240`, "pixels = 240\nfollows = \"west\"", 1, `reel.follows: reel "west" follows itself`},
		{`metres = 5.0`, "metres = 5.0\n[[reel]]\nname = \"apart\"\npixels = 1\nfollows = \"\"", 1, `reel: reel "apart" gets no plus from any supply|a feed ends at it`},
		{`metres = 5.0`, "metres = 5.0\n[[reel]]\nname = \"a-b\"\npixels = 1\n[[reel]]\nname = \"c\"\npixels = 1\n[[reel]]\nname = \"a\"\npixels = 1\n[[reel]]\nname = \"b-c\"\npixels = 1", 11,
			`reel.name: two joints come out as "a-b-c"|rename this reel`},

		{`between = ["west", "north"]`, `between = ["wst", "north"]`, 0, `joint.between: no joint is wst-north|did you mean "west-north"?`},
		{`between = ["west", "north"]`, `between = ["north", "west"]`, 0, `joint.between: names the reels in the wrong order|["west", "north"]`},
		{`between = ["west", "north"]`, `between = ["west"]`, 0, `joint.between: names 1 reels`},
		{`between = ["west", "north"]`, ``, -1, `joint.between: is missing`},
		{`plus = "joined"`, "plus = \"joined\"\n[[joint]]\nbetween = [\"west\", \"north\"]", 2, `joint.between: joint west-north is already on line 21`},
		{`plus = "joined"`, `plus = "cutt"`, 0, `joint.plus: "cutt" is not known here|did you mean "cut"?`},
		{`plus = "joined"`, `milliohms = -3`, 0, `joint.milliohms: -3 is out of range`},
		{`plus = "joined"`, `plus = "cut"`, -5, `reel: reel "north" gets no plus from any supply|the plus rail is cut at west-north`},

		{`name = "block"`, `name = "A"`, 0, `junction.name: "A" is already the name of what begins on line 11`},
		{`to = "block"`, `to = "west.end"`, -5, `junction: no feed leads from a supply to junction "block"`},
		{`to = "block"`, `to = "blok"`, 0, `feed.to: no supply or junction is named "blok"|did you mean "block"?`},
		{`to = "block"`, `to = "A"`, 0, `feed.to: "A" is at the wrong end|a reel's start`},
		{`from = "A"`, `from = "west.start"`, 0, `feed.from: "west.start" is at the wrong end|a supply or a junction`},
		{`from = "A"`, `from = "block"`, 1, `feed.to: is where the feed begins`},
		{`from = "A"`, `form = "A"`, 0, `feed.form: is not known here|did you mean "from"?`},
		{`to = "west.start"`, `to = "west"`, 0, `feed.to: "west" is a reel|west.start, west.end`},
		{`to = "west.start"`, `to = "west.strat"`, 0, `feed.to: reel "west" has no place "strat"|did you mean "start"?`},
		{`to = "west.start"`, `to = "wets.start"`, 0, `feed.to: no reel is named "wets"|did you mean "west"?`},
		{`to = "west.start"`, `to = "west.241"`, 0, `feed.to: reel "west" has no pixel 241|1 to 240`},
		{`to = "west.start"`, `to = "west.+5"`, 0, `feed.to: reel "west" has no place "+5"`},
		{`name = "near"`, `name = "trunk"`, 0, `feed.name: "trunk" is already the name of what begins on line 26`},
		{`metres = 2.5`, `metres = -2.5`, 0, `feed.metres: -2.5 is out of range`},
		{`metres = 2.5`, ``, -4, `feed.metres: is missing|or milliohms`},
		{`conductor = "18 AWG"`, ``, -5, `feed.conductor: is missing|18 AWG`},
		{`conductor = "18 AWG"`, `conductor = "18"`, 0, `feed.conductor: "18" is not a wire size|0.75 mm2`},
		{`fuse_amps = 5`, `material = "coper"`, 0, `feed.material: "coper" is not a known material|did you mean "copper"?`},
		{`fuse_amps = 5`, `stranding = "fin"`, 0, `feed.stranding: "fin" is not a known stranding|did you mean "fine"?`},
		{`fuse_amps = 5`, `fuse_amps = "5 A"`, 0, `feed.fuse_amps: is a text, not a number`},
		{`milliohms = 20`, `milliohms = inf`, 0, `feed.milliohms: inf is not a finite number`},

		{`red = 0.05`, `red = 5`, 0, `step.red: 5 is not a level|5 % is 0.05`},
		{`red = 0.05`, `rde = 0.05`, 0, `step.rde: is not known here|did you mean "red"?`},
		{`red = 0.05`, `white = 0.05`, 0, `step.white: is not a channel of the run|red, green, blue`},
		{`red = 0.05`, "red = 0.05\n[[step]]\nname = \"white 5 %\"", 2, `step.name: "white 5 %" is already`},
		{`errors = "common"`, `errors = "comon"`, 0, `meter.errors: "comon" is not known here|did you mean "common"?`},
		{`quantity = "voltage"`, `quantity = "volage"`, 0, `meter.range.quantity: "volage" is not known here|did you mean "voltage"?`},
		{`quantity = "voltage"`, ``, -1, `meter.range.quantity: is missing|known: voltage, current, temperature`},
		{`resolution = 0.001`, ``, -3, `meter.range.resolution: is missing`},
		{`resolution = 0.001`, `resolution = 10`, 0, `meter.range.resolution: one count, 10, is more than the whole range, 6`},
		{`percent = 0.5`, `percent = 200`, 0, `meter.range.percent: 200 is out of range|0 to 100 %`},
		{`counts = 3`, "counts = 3\n[[meter.range]]\nquantity = \"voltage\"\nup_to = 6\nresolution = 0.001\npercent = 1", 3, `meter.range.up_to: the meter has another voltage range that ends there`},
		{`joint_milliohms = 15`, `joint_miliohms = 15`, 0, `limits.joint_miliohms: is not known here|did you mean "joint_milliohms"?`},
		{`joint_milliohms = 15`, `feed_drop_percent = 300`, 0, `limits.feed_drop_percent: 300 is out of range`},
		{`design_step = "white 5 %"`, `design_step = "white 6 %"`, 0, `limits.design_step: no step is named "white 6 %"|did you mean "white 5 %"?`},

		{`meter = "hand"`, `meter = "hnad"`, 0, `probe.meter: no meter is named "hnad"|did you mean "hand"?`},
		{`profile = "plain-lines"`, ``, -2, `probe.profile: is missing`},
		{`from = "near"`, `from = "naer"`, 0, `probe.channel.from: no feed is named "naer"|did you mean "near"?`},
		{`from = "near"`, "from = \"near\"\nto = \"west.end\"", 1, `probe.channel.to: a current has no second end`},
		{`quantity = "current"`, `quantity = "voltage"`, -2, `probe.channel.to: is missing`},
		{`id = "1"`, `id = ""`, 0, `probe.channel.id: is empty`},
		{`id = "1"`, "id = \"1\"\nshunt_milliohms = 0", 1, `probe.channel.shunt_milliohms: 0 is not above 0`},
		{`from = "near"`, "from = \"near\"\n[[probe.channel]]\nid = \"1\"\nquantity = \"current\"\nfrom = \"near\"", 2, `probe.channel.id: "1" is already a channel of this probe`},
		{`from = "near"`, "from = \"near\"\n[[probe.channel]]\nid = \"1\"\nquantity = \"temperature\"\nfrom = \"near\"\nshunt_milliohms = 2", 5, `probe.channel.shunt_milliohms: a shunt turns volts into a current`},
	} {
		t.Run(c.to+" for "+c.from, func(t *testing.T) {
			if strings.Count("\n"+base, "\n"+c.from+"\n") != 1 {
				t.Fatalf("%q is not one line of the base", c.from)
			}
			before, rest, _ := strings.Cut("\n"+base, "\n"+c.from+"\n")
			line := strings.Count(before, "\n") + 1 + c.after
			src := strings.TrimPrefix(before+"\n"+c.to+"\n"+rest, "\n")
			_, err := Parse("f.toml", []byte(src))
			if err == nil {
				t.Fatal("no fault")
			}
			parts := strings.Split(c.want, "|")
			head := fmt.Sprintf("f.toml:%d: %s", line, parts[0])
			for _, got := range strings.Split(err.Error(), "\n") {
				missing := !strings.HasPrefix(got, head)
				for _, part := range parts[1:] {
					missing = missing || !strings.Contains(got, part)
				}
				if !missing {
					return
				}
			}
			t.Errorf("want %s and %q in\n%v", head, parts[1:], err)
		})
	}
}

// TestNothingElse: one mistake gives one fault, not several.
func TestNothingElse(t *testing.T) {
	for _, c := range [][2]string{
		{`pixels = 240`, `pixels = lots`},
		{`[[reel]]`, `[[reel]`},
		{`name = "west"`, `name = west`},
		{`name = "A"`, `name "A"`},
		{`volts = 5.0`, `volts = 5,0`},
		{`volts = 5.0`, `volts = "5"`},
		{`channel_milliamps = 12.0`, `channel_milliamps = 12 mA`},
		{`conductor = "18 AWG"`, `conductor = 18 AWG`},
		{`conductor = "18 AWG"`, `conductor = 18`},
		{`metres = 2.5`, `metres = 2.5 m`},
		{`pixels = 240`, `pixels = "240"`},
		{`to = "west.start"`, `to = "wets.start"`},
		{`quantity = "voltage"`, `quantity = "volts"`},
		{`meter = "hand"`, `meter = hand`},
		{`driver = "linear"`, `driver = "resister"`},
		{`volts = 5.1`, `volts = 5.1 # trimmed` + "\nvolts = 5.2"},
	} {
		_, err := Parse("f.toml", []byte(strings.Replace(base, "\n"+c[0]+"\n", "\n"+c[1]+"\n", 1)))
		if err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", c[1], err)
		}
	}
}

// TestMissing removes whole tables.
func TestMissing(t *testing.T) {
	for _, c := range []struct{ src, want string }{
		{"", "schema: is missing (write schema = 1)"},
		{"", "name: is missing"},
		{"", "supply: is missing"},
		{"", "reel: is missing"},
		{"", "feed: is missing"},
		{"[[reel]]\nname = \"a\"\npixels = 1", "strip: is missing"},
		{"[[meter]]\nname = \"m\"", "f.toml:1: meter.range: is missing"},
		{"[[probe]]\nname = \"p\"", "f.toml:1: probe.channel: is missing"},
		{"[[probe]]\nname = \"p\"\nmeter = \"m\"\n[[probe.channel]]\nid = \"1\"\nquantity = \"current\"\n[[meter]]\nname = \"m\"\nerrors = \"each\"",
			"f.toml:4: probe.channel.from: is missing"},
	} {
		_, err := Parse("f.toml", []byte(c.src))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("want %q in\n%v", c.want, err)
		}
	}
}

// A port has one reader. Modbus slaves share a line, each with its own address; what is not a device may be
// named by any number of probes.
func TestPortTwice(t *testing.T) {
	const port = "/dev/serial/by-id/invented"
	second := func(port, more string) string {
		return "[[probe]]\nname = \"second\"\nprofile = \"plain-lines\"\nport = \"" + port + "\"\n" + more +
			"[[probe.channel]]\nid = \"2\"\nquantity = \"current\"\nfrom = \"near\"\n"
	}
	at := strings.Count(base, "\n") + 4 // the line of the second port
	first := strings.Count(base[:strings.Index(base, "port = ")], "\n") + 1
	for _, c := range []struct{ first, second, more, want string }{
		{"", port, "", `probe "board" on line %d has this port already`},
		{"", "/dev//serial/by-id/invented", "", `probe "board" on line %d has this port already`},
		{"", port, "slave = 1\n", `probe "board" on line %d has this port already`},
		{"slave = 1\n", port, "", `probe "board" on line %d has this port already`},
		{"slave = 1\n", port, "slave = 1\n", `probe "board" on line %d is slave 1 on this port already`},
		{"slave = 1\n", port, "slave = 2\n", ""},
		{"", "/dev/serial/by-id/other", "", ""},
	} {
		src := strings.Replace(base, "meter = \"hand\"\n", "meter = \"hand\"\n"+c.first, 1) + second(c.second, c.more)
		_, err := Parse("f.toml", []byte(src))
		if c.want == "" {
			if err != nil {
				t.Errorf("%q and %s %q: %v", c.first, c.second, c.more, err)
			}
			continue
		}
		want := fmt.Sprintf("f.toml:%d: probe.port: "+c.want, at+strings.Count(c.first, "\n"), first)
		if err == nil || !strings.HasPrefix(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q and %s %q: want %s, got\n%v", c.first, c.second, c.more, want, err)
		}
	}
	for _, port := range []string{"simulated", "transcript:morning.txt"} {
		src := strings.Replace(base, "/dev/serial/by-id/invented", port, 1) + second(port, "")
		if _, err := Parse("f.toml", []byte(src)); err != nil {
			t.Errorf("%s: %v", port, err)
		}
	}
}

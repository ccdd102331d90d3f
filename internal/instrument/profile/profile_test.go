package profile_test

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/run"
)

// Every shipped profile is valid, is named like its file and can be loaded by
// that name.
func TestShipped(t *testing.T) {
	names := profile.Names()
	if len(names) < 3 {
		t.Fatalf("shipped: %v", names)
	}
	for _, name := range names {
		p, err := profile.Load(name, "")
		if err != nil {
			t.Errorf("%v", err)
			continue
		}
		if p.Name != name || p.Meter.Name != name || len(p.Meter.Ranges) == 0 {
			t.Errorf("%s: named %q, with %d ranges", name, p.Name, len(p.Meter.Ranges))
		}
	}
}

const wholeProfile = `name = "own"
title = "Own"
kind = "lines"
errors = "each"
[port]
baud = 9600
data_bits = 7
parity = "even"
stop_bits = 2
dtr = false
settle_milliseconds = 250
terminator = "\r\n"
[line]
pattern = '(?P<id>\d) (?P<n>-?\d+)'
[[line.field]]
group = "n"
quantity = "current"
per_count = 2.5e-6
shunt_milliohms = 2
lowest = -10
highest = 10
[[range]]
quantity = "current"
resolution = 0.01
percent = 1
counts = 2
`

func TestEveryKeyArrives(t *testing.T) {
	p, err := profile.Parse("own.toml", []byte(wholeProfile))
	if err != nil {
		t.Fatal(err)
	}
	port := p.Port
	if port.Baud != 9600 || port.DataBits != 7 || port.Parity != profile.EvenParity || port.StopBits != 2 ||
		port.DTR == nil || *port.DTR || port.RTS != nil || port.Settle != 250*time.Millisecond || port.Terminator != "\r\n" {
		t.Errorf("port %+v", port)
	}
	f := p.Line.Fields[0]
	// 2.5 µV over 2 mΩ is 1.25 mA.
	if !f.Counts || f.Quantity != run.Current || math.Abs(f.PerCount-1.25e-3) > 1e-18 || f.Lowest != -10 || f.Highest != 10 {
		t.Errorf("field %+v", f)
	}
	r := p.Meter.Ranges[0]
	if !p.Meter.Each || r.Fraction != 0.01 || r.Counts != 2 || !math.IsInf(r.UpTo, 1) {
		t.Errorf("meter %+v", p.Meter)
	}
	if p.Line.Pattern.MatchString("x1 2") || p.Line.Pattern.MatchString("1 2x") {
		t.Error("the pattern is not of the whole line")
	}
}

// Each case changes one thing of a valid profile and expects the line, the key and the text of the
// fault.
func TestFaults(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"no name", `name = "own"`, ``, "own.toml: name: is missing"},
		{"bad name", `name = "own"`, `name = "a b"`, `own.toml:1: name: "a b" is not a profile's name`},
		{"no title", `title = "Own"`, `title = ""`, "own.toml:2: title: is empty"},
		{"kind", `kind = "lines"`, `kind = "line"`, `own.toml:3: kind: "line" is not one of scpi, lines, hwmon, modbus, display, mqtt (did you mean "lines"?)`},
		{"errors", `errors = "each"`, `errors = "some"`, `own.toml:4: errors: "some" is not one of common, each`},
		{"unknown key", `stop_bits = 2`, `stopbits = 2`, `own.toml:9: port.stopbits: is not known here (did you mean "stop_bits"?)`},
		{"no baud", `baud = 9600`, ``, "own.toml:5: port.baud: is missing"},
		{"baud", `baud = 9600`, `baud = 0`, "own.toml:6: port.baud: 0 is not between 50 and 4000000"},
		{"bits", `data_bits = 7`, `data_bits = 9`, "own.toml:7: port.data_bits: 9 is not between 5 and 8"},
		{"parity", `parity = "even"`, `parity = "evn"`, `own.toml:8: port.parity: "evn" is not one of`},
		{"dtr", `dtr = false`, `dtr = 0`, "own.toml:10: port.dtr: is a number, not true or false"},
		{"terminator", `terminator = "\r\n"`, `terminator = ";"`, `own.toml:12: port.terminator: ";" does not end a line`},
		{"pattern", `'(?P<id>\d) (?P<n>-?\d+)'`, `'('`, "own.toml:14: line.pattern: error parsing regexp"},
		{"misspelt group", `(?P<id>`, `(?P<idd>`, "own.toml:14: line.pattern: nothing refers to its group idd"},
		{"group", `group = "n"`, `group = "m"`, `own.toml:16: line.field.group: the pattern has no group "m"`},
		{"two ways", `group = "n"`, "group = \"n\"\nunit = \"V\"", "states its unit in 2 ways"},
		{"no way", "quantity = \"current\"\nper_count = 2.5e-6\nshunt_milliohms = 2\nlowest = -10\nhighest = 10\n", "", "states its unit in 0 ways"},
		{"worth nothing", `per_count = 2.5e-6`, `per_count = 0`, "own.toml:18: line.field.per_count: a count cannot be worth nothing"},
		{"shunt of a voltage", "quantity = \"current\"\nper_count", "quantity = \"voltage\"\nper_count", "own.toml:19: line.field.shunt_milliohms: a shunt turns volts into a current"},
		{"shunt", `shunt_milliohms = 2`, `shunt_milliohms = 0`, "own.toml:19: line.field.shunt_milliohms: 0 is not above 0"},
		{"bounds", `highest = 10`, `highest = -10`, "own.toml:20: line.field.lowest: is not below highest"},
		{"range", `resolution = 0.01`, `resolution = -1`, "own.toml:24: range.resolution: -1 is not above 0"},
		{"range key", `percent = 1`, ``, "own.toml:22: range.percent: is missing"},
		{"stray query", "[line]", "[query]\nidentity = \"*IDN?\"\n[line]", "own.toml:13: query: has no meaning in a profile of kind lines"},
	} {
		t.Run(c.name, func(t *testing.T) {
			changed := strings.Replace(wholeProfile, c.old, c.new, 1)
			if changed == wholeProfile {
				t.Fatal("the case changes nothing")
			}
			p, err := profile.Parse("own.toml", []byte(changed))
			if err == nil || p != nil || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("got %v, want %q in it", err, c.want)
			}
		})
	}
}

func TestQueryFaults(t *testing.T) {
	const head = "name = \"m\"\ntitle = \"M\"\nkind = \"scpi\"\n[port]\nbaud = 9600\n"
	for body, want := range map[string]string{
		"":                               "m.toml: query: is missing",
		"[query]\nidentity = \"*IDN?\"":  "m.toml:6: query.voltage: is missing",
		"[query]\nvoltage = [\"READ?\"]": "m.toml:6: query.identity: is missing",
		"[query]\nidentity = \"*IDN\"\nvoltage = [\"READ?\"]":                 `m.toml:7: query.identity: "*IDN" asks nothing`,
		"[query]\nidentity = \"*IDN?\"\nvoltage = []":                         "m.toml:8: query.voltage: is empty",
		"[query]\nidentity = \"*IDN?\"\nvoltage = [\"READ\"]":                 `m.toml:8: query.voltage: "READ" asks nothing`,
		"[query]\nidentity = \"*IDN?\"\nvoltage = [\"A?\", \"B?\"]":           `m.toml:8: query.voltage: "A?" would be answered`,
		"[query]\nidentity = \"*IDN?\"\nvoltage = [\"A?\"]\nstart = [\"X?\"]": `m.toml:9: query.start: "X?" would be answered`,
		"[query]\nidentity = \"*IDN?\"\nvoltage = [\"A\\nB?\"]":               `is not one line`,
		"[query]\nidentity = \"*IDN?\"\nvolts = [\"A?\"]":                     `query.volts: is not known here`,
	} {
		if _, err := profile.Parse("m.toml", []byte(head+body)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: got %v, want %q in it", body, err, want)
		}
	}
}

func TestLoad(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "own.toml"), []byte(wholeProfile), 0o600); err != nil {
		t.Fatal(err)
	}
	if p, err := profile.Load("own.toml", dir); err != nil || p.Name != "own" {
		t.Errorf("beside the run file: %v", err)
	}
	if p, err := profile.Load(filepath.Join(dir, "own.toml"), "elsewhere"); err != nil || p.Name != "own" {
		t.Errorf("by its whole path: %v", err)
	}
	for name, want := range map[string]string{
		"plain-line":   `no profile is named "plain-line" (did you mean "plain-lines"?`,
		"absent.toml":  "no such file",
		"../doc":       "no profile is named",
		"":             "no profile is named",
		"probes.go":    "no profile is named",
		"ina226-lines": "",
	} {
		_, err := profile.Load(name, dir)
		if want == "" && err != nil || want != "" && (err == nil || !strings.Contains(err.Error(), want)) {
			t.Errorf("%q: got %v, want %q", name, err, want)
		}
	}
}

// The profiles in the package comment of probes are valid.
func TestGuide(t *testing.T) {
	guide, err := os.ReadFile(filepath.FromSlash("../../../probes/doc.go"))
	if err != nil {
		t.Fatal(err)
	}
	var pieces []string
	within := false
	for line := range strings.Lines(string(guide)) {
		code, indented := strings.CutPrefix(line, "//\t")
		switch {
		case indented && within:
			pieces[len(pieces)-1] += code
		case indented:
			pieces = append(pieces, code)
		}
		within = indented || within && line == "//\n" // an empty line parts two tables of one piece
	}
	if len(pieces) != 11 {
		t.Fatalf("the guide has %d pieces: %q", len(pieces), pieces)
	}
	head, line, words, query, display, files, slave, board, accuracy := pieces[2], pieces[3], pieces[4], pieces[5], pieces[6], pieces[7], pieces[8], pieces[9], pieces[10]
	for name, body := range map[string]string{"board": line, "words": words} {
		if _, err := profile.Parse(name+".toml", []byte(head+body+accuracy)); err != nil {
			t.Errorf("%s:\n%v", name, err)
		}
	}
	if _, err := profile.Parse("shelf.toml", []byte(files+accuracy)); err != nil {
		t.Errorf("the kernel's device:\n%v", err)
	}
	if _, err := profile.Parse("module.toml", []byte("name = \"m\"\ntitle = \"M\"\nkind = \"modbus\"\n"+slave+accuracy)); err != nil {
		t.Errorf("the slave:\n%v", err)
	}
	if _, err := profile.Parse("board.toml", []byte("name = \"m\"\ntitle = \"M\"\nkind = \"mqtt\"\n"+board+accuracy)); err != nil {
		t.Errorf("the board at a broker:\n%v", err)
	}
	head = strings.Replace(head, `kind   = "lines"`, `kind   = "scpi"`, 1)
	if _, err := profile.Parse("meter.toml", []byte(head+query+accuracy)); err != nil {
		t.Errorf("the meter:\n%v", err)
	}
	head = strings.Replace(head, `kind   = "scpi"`, `kind   = "display"`, 1)
	p, err := profile.Parse("hand.toml", []byte(head+display+accuracy))
	if err != nil || p.Display != (profile.Display{Chip: profile.FS9721, CelsiusBit: 1}) || !p.Meter.DigitsShowRange || p.Source == "" || p.Accuracy == "" {
		t.Errorf("the handheld meter: %+v\n%v", p, err)
	}
}

func TestDisplayFaults(t *testing.T) {
	const head = "name = \"m\"\ntitle = \"M\"\nkind = \"display\"\n[port]\nbaud = 2400\n"
	for body, want := range map[string]string{
		"":                             "display: is missing",
		"[display]":                    "display.chip: is missing",
		"[display]\nchip = \"fs9722\"": `m.toml:7: display.chip: "fs9722" is not one of fs9721, es51922 (did you mean "fs9721"?)`,
		"[display]\nchip = \"fs9721\"\ncelsius_bit = 4":  "m.toml:8: display.celsius_bit: 4 is not between 0 and 3",
		"[display]\nchip = \"es51922\"\ncelsius_bit = 1": "m.toml:8: display.celsius_bit: has no meaning for chip es51922",
		"[display]\nchip = \"fs9721\"\n[line]":           "m.toml:8: line: has no meaning in a profile of kind display",
	} {
		if _, err := profile.Parse("m.toml", []byte(head+body)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: got %v, want %q", body, err, want)
		}
	}
}

const words = `name = "w"
title = "W"
kind = "lines"
[port]
baud = 9600
[line]
chip = "ina226"
pattern = '(?P<a>\S+) (?P<b>\S+) (?P<serial>\S+)'
comment = "#"
identity = '# id .+'
await_ready = true
[[line.field]]
group = "a"
register = "shunt"
shunt_milliohms = 2
highest = 31000
[[line.field]]
group = "b"
register = "flags"
base = 10
`

func TestRegisterKeysArrive(t *testing.T) {
	p, err := profile.Parse("w.toml", []byte(words))
	if err != nil {
		t.Fatal(err)
	}
	a, b := p.Line.Fields[0], p.Line.Fields[1]
	// 2.5 µV over 2 mΩ is 1.25 mA; the lower end is the chip's.
	if !a.Counts || a.Quantity != run.Current || math.Abs(a.PerCount-1.25e-3) > 1e-18 || a.Lowest != -32767 || a.Highest != 31000 || a.Base != 16 || a.Shunt != 0.002 {
		t.Errorf("shunt %+v", a)
	}
	if !b.IsFlags() || b.Base != 10 || b.Counts {
		t.Errorf("flags %+v", b)
	}
	if !p.Line.AwaitReady || p.Line.Identity == nil || !p.Line.Identity.MatchString("# id 7") || p.Line.Identity.MatchString("# id ") {
		t.Errorf("line %+v", p.Line)
	}
	// Of a current register a count is a current LSB.
	p, err = profile.Parse("w.toml", []byte(strings.NewReplacer(`register = "shunt"`, `register = "current"`, `shunt_milliohms = 2`, `current_lsb_microamps = 1000`).Replace(words)))
	if err != nil || p.Line.Fields[0].PerCount != 1e-3 || p.Line.Fields[0].Shunt != 0 {
		t.Errorf("current: %+v, %v", p, err)
	}
}

func TestRegisterFaults(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{`chip = "ina226"`, `chip = "ina266"`, `w.toml:7: line.chip: no chip is known as "ina266" (did you mean "ina226"?`},
		{`chip = "ina226"`, ``, `line.field.register: is of no chip (name the chip in [line]`},
		{`register = "shunt"`, `register = "shant"`, `line.field.register: ina226 has no register "shant" that is read (did you mean "shunt"?`},
		{`register = "shunt"`, `register = "power"`, `has no register "power" that is read`},
		{`shunt_milliohms = 2`, ``, `line.field.shunt_milliohms: is missing`},
		{`shunt_milliohms = 2`, `shunt_milliohms = -2`, `-2 is not above 0`},
		{`shunt_milliohms = 2`, "shunt_milliohms = 2\ncurrent_lsb_microamps = 3", `current_lsb_microamps: has no meaning for register shunt`},
		{`register = "shunt"`, `register = "current"`, `current_lsb_microamps: is missing`},
		{`base = 10`, `base = 8`, `w.toml:20: line.field.base: 8 is neither 10 nor 16`},
		{`highest = 31000`, `highest = -40000`, `lowest: is not below highest`},
		{`comment = "#"`, ``, `line.comment: is missing (the identity is a comment)`},
		{`identity = '# id .+'`, `identity = '('`, `line.identity: error parsing regexp`},
		{"[[line.field]]\ngroup = \"a\"\nregister = \"shunt\"\nshunt_milliohms = 2\nhighest = 31000\n", "", `flags alone are not a value`},
	} {
		changed := strings.Replace(words, c.old, c.new, 1)
		if changed == words {
			t.Fatalf("%q changes nothing", c.new)
		}
		if p, err := profile.Parse("w.toml", []byte(changed)); err == nil || p != nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: got %v, want %q in it", c.new, err, c.want)
		}
	}
}

func TestFunctions(t *testing.T) {
	const head = "name = \"m\"\ntitle = \"M\"\nkind = \"scpi\"\n[port]\nbaud = 9600\n[query]\nidentity = \"*IDN?\"\n"
	const function = "[[query.function]]\nquantity = \"voltage\"\nselect = [\"CONF:VOLT 100\"]\nread = \"READ?\"\nup_to = 100\n"
	p, err := profile.Parse("m.toml", []byte(head+"overload = [\"OL\"]\nevery_milliseconds = 20\nturn_readings = 3\ncurrent = [\"MEAS:CURR?\"]\n"+function+
		"[[query.function]]\nquantity = \"voltage\"\nselect = [\"CONF:VOLT 10\"]\nread = \"READ?\"\nup_to = 10\nstate = \"CONF?\"\nsettle_milliseconds = 500\n"))
	if err != nil {
		t.Fatal(err)
	}
	q := p.Query
	v := q.Functions[run.Voltage]
	if len(v) != 2 || v[0].UpTo != 10 || v[1].UpTo != 100 || v[0].State != "CONF?" || v[0].Settle != 500*time.Millisecond || v[0].Read != "READ?" {
		t.Errorf("the smallest range is not the first: %+v", v)
	}
	if q.Every != 20*time.Millisecond || q.Turn != 3 || q.Overload[0] != "OL" || len(q.Quantities()) != 2 || !q.Asks(run.Current) || q.Asks(run.Temperature) {
		t.Errorf("query %+v", q)
	}
	for body, want := range map[string]string{
		function + function:                                                "another function of quantity voltage has the same range",
		"voltage = [\"MEAS:VOLT?\"]\n" + function:                          "query.voltage: is asked for by a [[query.function]] as well",
		strings.Replace(function, "READ?", "READ", 1):                      `"READ" asks nothing`,
		strings.Replace(function, "CONF:", "CONF?:", 1):                    `"CONF?:VOLT 100" would be answered`,
		strings.Replace(function, "voltage", "volts", 1):                   `query.function.quantity: "volts" is not one of`,
		strings.Replace(function, "[\"CONF:VOLT 100\"]", "[]", 1):          "query.function.select: is empty",
		strings.Replace(function, "select = [\"CONF:VOLT 100\"]\n", "", 1): "query.function.select: is missing",
		strings.Replace(function, "100\n", "0\n", 1):                       "up_to: 0 is not above 0",
		"turn_readings = 0\n" + function:                                   "0 is not between 1 and 1000000",
	} {
		if _, err := profile.Parse("m.toml", []byte(head+body)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: got %v, want %q in it", body, err, want)
		}
	}
}

func TestFilesFaults(t *testing.T) {
	const head = "name = \"h\"\ntitle = \"H\"\nkind = \"hwmon\"\n"
	const value = "[[hwmon.value]]\nfile = \"curr1_input\"\n"
	const good = head + "[hwmon]\nnames = [\"ina226\"]\n" + value
	p, err := profile.Parse("h.toml", []byte(good+"id = \"x\"\nshunt_file = \"shunt_resistor\"\nlowest = -5\nhighest = 5\n"))
	if err != nil || p.Files.Values[0] != (profile.FileValue{File: "curr1_input", Channel: "x", Lowest: -5, Highest: 5, ShuntFile: "shunt_resistor"}) || p.Files.Every != time.Second {
		t.Fatalf("got %+v, %v", p, err)
	}
	for src, want := range map[string]string{
		head: "h.toml: hwmon: is missing",
		head + "[port]\nbaud = 9600\n[hwmon]\nnames = [\"x\"]\n" + value:                           "port: has no meaning in a profile of kind hwmon (the kernel reads",
		head + "[line]\n[hwmon]\nnames = [\"x\"]\n" + value:                                        "line: has no meaning in a profile of kind hwmon",
		head + "[hwmon]\n" + value:                                                                 "hwmon.names: is missing",
		head + "[hwmon]\nnames = []\n" + value:                                                     "hwmon.names: is empty",
		head + "[hwmon]\nnames = [\"x\"]\n":                                                        "hwmon.value: is missing",
		good + value:                                                                               `"curr1_input" is read already`,
		strings.Replace(good, "curr1_input", "power1_input", 1):                                    `"power1_input" is not a file of a voltage, current or temperature`,
		strings.Replace(good, "curr1_input", "../curr1_input", 1):                                  `is not a file of a voltage`,
		good + "shunt_file = \"../../x\"\n":                                                        `"../../x" is not a file of a shunt`,
		strings.Replace(good, "curr1_input", "in1_input", 1) + "shunt_file = \"shunt_resistor\"\n": "a shunt turns volts into a current",
		good + "lowest = 5\nhighest = 5\n":                                                         "lowest: is not below highest",
		good + "id = \"\"\n":                                                                       "hwmon.value.id: is empty",
	} {
		if _, err := profile.Parse("h.toml", []byte(src)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: got %v, want %q in it", src, err, want)
		}
	}
}

package profile_test

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/profile"
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

const whole = `name = "own"
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
	p, err := profile.Parse("own.toml", []byte(whole))
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

// Each case changes one thing of a good profile and expects the line of the
// fault, its key and what it says.
func TestFaults(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"no name", `name = "own"`, ``, "own.toml: name: is missing"},
		{"bad name", `name = "own"`, `name = "a b"`, `own.toml:1: name: "a b" is not a profile's name`},
		{"no title", `title = "Own"`, `title = ""`, "own.toml:2: title: is empty"},
		{"kind", `kind = "lines"`, `kind = "line"`, `own.toml:3: kind: "line" is none of scpi, lines, hwmon (did you mean "lines"?)`},
		{"errors", `errors = "each"`, `errors = "some"`, `own.toml:4: errors: "some" is none of common, each`},
		{"unknown key", `stop_bits = 2`, `stopbits = 2`, `own.toml:9: port.stopbits: is not known here (did you mean "stop_bits"?)`},
		{"no baud", `baud = 9600`, ``, "own.toml:5: port.baud: is missing"},
		{"baud", `baud = 9600`, `baud = 0`, "own.toml:6: port.baud: 0 is not between 50 and 4000000"},
		{"bits", `data_bits = 7`, `data_bits = 9`, "own.toml:7: port.data_bits: 9 is not between 5 and 8"},
		{"parity", `parity = "even"`, `parity = "evn"`, `own.toml:8: port.parity: "evn" is none of`},
		{"dtr", `dtr = false`, `dtr = 0`, "own.toml:10: port.dtr: is a number, not true or false"},
		{"terminator", `terminator = "\r\n"`, `terminator = ";"`, `own.toml:12: port.terminator: ";" does not end a line`},
		{"pattern", `'(?P<id>\d) (?P<n>-?\d+)'`, `'('`, "own.toml:14: line.pattern: error parsing regexp"},
		{"misspelt group", `(?P<id>`, `(?P<idd>`, "own.toml:14: line.pattern: nothing refers to its group idd"},
		{"group", `group = "n"`, `group = "m"`, `own.toml:16: line.field.group: the pattern has no group "m"`},
		{"two ways", `group = "n"`, "group = \"n\"\nunit = \"V\"", "says in 2 ways what its group holds"},
		{"no way", "quantity = \"current\"\nper_count = 2.5e-6\nshunt_milliohms = 2\nlowest = -10\nhighest = 10\n", "", "says in 0 ways what its group holds"},
		{"worth nothing", `per_count = 2.5e-6`, `per_count = 0`, "own.toml:18: line.field.per_count: a count cannot be worth nothing"},
		{"shunt of a voltage", "quantity = \"current\"\nper_count", "quantity = \"voltage\"\nper_count", "own.toml:19: line.field.shunt_milliohms: a shunt turns volts into a current"},
		{"shunt", `shunt_milliohms = 2`, `shunt_milliohms = 0`, "own.toml:19: line.field.shunt_milliohms: 0 is not above 0"},
		{"bounds", `highest = 10`, `highest = -10`, "own.toml:20: line.field.lowest: is not below highest"},
		{"range", `resolution = 0.01`, `resolution = -1`, "own.toml:24: range.resolution: -1 is not above 0"},
		{"range key", `percent = 1`, ``, "own.toml:22: range.percent: is missing"},
		{"stray query", "[line]", "[query]\nidentity = \"*IDN?\"\n[line]", "own.toml:13: query: has no meaning in a profile of kind lines"},
	} {
		t.Run(c.name, func(t *testing.T) {
			changed := strings.Replace(whole, c.old, c.new, 1)
			if changed == whole {
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
	if err := os.WriteFile(filepath.Join(dir, "own.toml"), []byte(whole), 0o600); err != nil {
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

// The profiles that the guide writes, piece by piece, are valid.
func TestGuide(t *testing.T) {
	guide, err := os.ReadFile(filepath.FromSlash("../../probes/doc.go"))
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
	if len(pieces) != 8 {
		t.Fatalf("the guide has %d pieces: %q", len(pieces), pieces)
	}
	head, line, words, query, files, accuracy := pieces[2], pieces[3], pieces[4], pieces[5], pieces[6], pieces[7]
	for name, body := range map[string]string{"board": line, "words": words} {
		if _, err := profile.Parse(name+".toml", []byte(head+body+accuracy)); err != nil {
			t.Errorf("%s:\n%v", name, err)
		}
	}
	if _, err := profile.Parse("shelf.toml", []byte(files+accuracy)); err != nil {
		t.Errorf("the kernel's device:\n%v", err)
	}
	head = strings.Replace(head, `kind   = "lines"`, `kind   = "scpi"`, 1)
	if _, err := profile.Parse("meter.toml", []byte(head+query+accuracy)); err != nil {
		t.Errorf("the meter:\n%v", err)
	}
}

package toml

import (
	"errors"
	"strings"
	"testing"

	"ohmkeep/internal/fault"
)

// read reads one key of each kind, as a caller does.
func read(src string) (*Table, error) {
	root := Parse("f.toml", []byte(src))
	root.Text("name")
	root.Number("volts")
	root.Whole("pixels")
	root.Bool("ready")
	root.Texts("channels")
	if _, byChannel, ok := root.NumberOrTable("milliamps"); ok && byChannel != nil {
		byChannel.Number("red")
	}
	if strip, ok := root.Table("strip"); ok {
		strip.Number("volts")
		strip.Text("driver")
	}
	for _, reel := range root.Tables("reel") {
		if _, ok := reel.Text("name"); !ok && !reel.Has("name") {
			reel.Missing("name", "every reel has one")
		}
		reel.Number("metres")
		for _, piece := range reel.Tables("piece") {
			piece.Number("metres")
		}
	}
	root.Done()
	return root, root.Err()
}

func TestFaults(t *testing.T) {
	for _, c := range []struct {
		name, src string
		want      []string // each line of the error holds the parts of one entry, split at |
	}{
		{"unknown key", "nam = 'x'", []string{`f.toml:1: nam: is not known|did you mean "name"?`}},
		{"unknown table", "\n[strap]\nvolts = 5", []string{`f.toml:2: strap: is not known|"strip"`}},
		{"unknown key of an inner table", "[strip]\n\nvolt = 5", []string{`f.toml:3: strip.volt: is not known|"volts"`}},
		{"unknown key of an inline table", "strip = {volts = 5, divers = 'x'}", []string{`f.toml:1: strip.divers: is not known|"driver"`}},
		{"unknown key of a table of several", "[[reel]]\nname='a'\n[[reel]]\nname='b'\nmeters=3",
			[]string{`f.toml:5: reel.meters: is not known|"metres"`}},
		{"text for a number", "volts = '5'", []string{`f.toml:1: volts: is a text, not a number|without quotation marks`}},
		{"number for a text", "name = 5", []string{`f.toml:1: name: is a number, not a text|between quotation marks`}},
		{"text for a boolean", "ready = 'true'", []string{`f.toml:1: ready: is a text, not true or false`}},
		{"text for a list", "channels = 'red'", []string{`f.toml:1: channels: is a text, not a list`}},
		{"number in a list of texts", "channels = ['red',\n 5]", []string{`f.toml:2: channels: is a number, not a text`}},
		{"fraction for a whole number", "pixels = 2.5", []string{`f.toml:1: pixels: 2.5 is not a whole number`}},
		{"date for a number", "volts = 2024-01-01", []string{`f.toml:1: volts: is a date or time, not a number`}},
		{"table for several", "[reel]\nname = 'a'", []string{`f.toml:1: reel: is a table, not one of several tables|[[reel]]`}},
		{"several for a table", "[[strip]]\nvolts = 5", []string{`f.toml:1: strip: is several tables, not a table|[strip]`}},
		{"list of texts for several tables", "reel = ['a']", []string{`f.toml:1: reel: is a text, not a table`}},
		{"infinite", "volts = inf", []string{`f.toml:1: volts: inf is not a finite number`}},
		{"no number", "volts = -nan", []string{`f.toml:1: volts: -nan is not a finite number`}},
		{"too large", "volts = 1e999", []string{`f.toml:1: volts: 1e999 is not a finite number`}},
		{"key twice", "volts = 5\nname = 'x'\nvolts = 6", []string{`f.toml:3: volts: is already on line 1`}},
		{"key twice in an inline table", "strip = {volts = 5, volts = 6}", []string{`f.toml:1: strip.volts: is already on line 1`}},
		{"table twice", "[strip]\nvolts = 5\n[strip]\ndriver = 'x'", []string{`f.toml:3: strip: is already on line 1`}},
		{"table and several", "[reel]\n[[reel]]\n", []string{`f.toml:1: reel: is a table`, `f.toml:2: reel: is already on line 1`}},
		{"table after dotted key", "strip.volts = 5\n[strip]\n", []string{`f.toml:2: strip: is already on line 1`}},
		{"dotted key into a table with a header", "[strip]\nvolts = 5\n[reel]\n[strip.driver]\n",
			[]string{`f.toml:3: reel: is a table`, `f.toml:4: strip.driver: is a table, not a text`}},
		{"adding to an inline table", "strip = {volts = 5}\n[strip.more]\n", []string{`f.toml:2: strip: is already on line 1`}},
		{"several faults at once", "nam = 1\nvolts = 'x'\n[strip]\ndriver = 2",
			[]string{`:1: nam`, `:2: volts`, `:4: strip.driver`}},

		{"value without quotation marks", "volts = 5\nname = Map room\nready = 3",
			[]string{`f.toml:2: name: |in quotation marks`, `f.toml:3: ready`}},
		{"unit behind a number", "volts = 5V\nready = 3", []string{`f.toml:1: volts: `, `f.toml:2: ready`}},
		{"no equals sign", "volts 5\nready = 3", []string{`f.toml:1: |key = value`, `f.toml:2: ready`}},
		{"list not closed", "# c\nchannels = ['red',\n'green'\nready = 3\n",
			[]string{`f.toml:2: channels: |begun here and not right by line 4`, `f.toml:4: ready`}},
		{"text not closed", "name = \"Map\nready = 3", []string{`f.toml:1: name: `, `f.toml:2: ready`}},
		{"two bad lines", "name = \nvolts = \nready = 3", []string{`f.toml:1: name`, `f.toml:2: volts`, `:3: ready`}},
		{"bad header", "[[reel]\nmetres = 'x'\n[strip]\nvolts = 'y'", []string{`f.toml:1: `, `f.toml:4: strip.volts`}},
		{"missing only because of a bad line", "[[reel]]\nname = west\nmetres = 4", []string{`f.toml:2: reel.name`}},
		{"really missing", "[[reel]]\nmetres = 4", []string{`f.toml:1: reel.name: is missing`}},
		{"control character in a comment", "volts = 5\n# a\x01b\nready = 3", []string{`f.toml:2: `, `f.toml:3: ready`}},
		{"prose", strings.Repeat("Dear reader,\nthe run is well.\n", 200), []string{`f.toml:1: |key = value`}},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := read(c.src)
			if err == nil {
				t.Fatal("no fault")
			}
			lines := strings.Split(err.Error(), "\n")
			if len(lines) != len(c.want) {
				t.Fatalf("%d faults, want %d:\n%v", len(lines), len(c.want), err)
			}
			for i, want := range c.want {
				for _, part := range strings.Split(want, "|") {
					if !strings.Contains(lines[i], part) {
						t.Errorf("fault %d: %q does not hold %q", i, lines[i], part)
					}
				}
			}
		})
	}
}

// Reading of a file that is not TOML ends after twenty faults, and the last fault says so.
func TestManyBadLines(t *testing.T) {
	_, err := read(strings.Repeat("x = y\n", 200))
	list, _ := errors.AsType[fault.List](err)
	if len(list) != mostSyntaxFaults+1 || !strings.Contains(err.Error(), "too many lines") {
		t.Error(err)
	}
}

// TestValues reads every way that TOML 1.0 writes a value we use.
func TestValues(t *testing.T) {
	root, err := read("\uFEFFname = 'Map'\r\nvolts = 5\r\npixels = 240.0\nready = true\nchannels = [\n 'red', # one\n \"gr\\u00fcn\",\n]\n" +
		"milliamps.red = 1_2\n[strip]\nvolts = 0x10\n[[reel]]\nname = 'a'\n[[reel.piece]]\nmetres = 1e-1\n[[reel.piece]]\n[[reel]]\nname = '''b'''\n")
	if err != nil {
		t.Fatal(err)
	}
	name, _ := root.Text("name")
	volts, _ := root.Number("volts")
	pixels, _ := root.Whole("pixels")
	ready, _ := root.Bool("ready")
	channels, _ := root.Texts("channels")
	_, table, ok := root.NumberOrTable("milliamps")
	if name != "Map" || volts != 5 || pixels != 240 || !ready || strings.Join(channels, " ") != "red grün" || !ok || table == nil {
		t.Error(name, volts, pixels, ready, channels, table)
	}
	if red, _ := table.Number("red"); red != 12 || table.Line("red") != 9 {
		t.Error(red, table.Line("red"))
	}
	reels := root.Tables("reel")
	if len(reels) != 2 || len(reels[0].Tables("piece")) != 2 || reels[1].Line("") != 17 || reels[1].Line("name") != 18 {
		t.Error(reels)
	}
	if got := strings.Join(root.Keys(), " "); got != "name volts pixels ready channels milliamps strip reel" {
		t.Error(got)
	}
}

// FuzzParse: nothing panics, and every fault has a line that the file has.
func FuzzParse(f *testing.F) {
	f.Add("name = 'x'\n[[reel]]\nname = \n[reel.piece]\n")
	f.Add("a.b.c = {d = [1, 'x', {e = 1}]}\n[a.b]\n[a]\n[[a.b.c]]")
	f.Add("\uFEFF[[reel]\r\n# \x00\nvolts = 1e999")
	f.Fuzz(func(t *testing.T, src string) {
		root, err := read(src)
		if err == nil {
			return
		}
		for _, fault := range root.doc.faults {
			if fault.Line > 1+strings.Count(src, "\n") || fault.Line < 1 {
				t.Errorf("fault without a line: %v", fault)
			}
		}
	})
}

package lines_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"ohmkeep/internal/instrument/lines"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

func line(t testing.TB, name string) profile.Line {
	t.Helper()
	p, err := profile.Load(name, "")
	if err != nil {
		t.Fatal(err)
	}
	return p.Line
}

// The numbers are those of the INA226 datasheet, SBOS547 (June 2011), pages 15
// and 16, table 1: a load of 10 A at 12 V over 2 mΩ, shunt register 1F40h = 8000
// = 20 mV, bus register 2570h = 9584 = 11.98 V; and for the sign its example of
// −80 mV = 8300h = −32000 counts.
func TestRegisterCounts(t *testing.T) {
	l := line(t, "ina226-lines")
	for _, c := range []struct {
		line       string
		volts      float64
		voltsText  string
		amps       float64
		ampsText   string
		voltsFault string
		ampsFault  string
	}{
		{line: "ch=1 bus=9584 shunt=8000", volts: 11.98, voltsText: "11.98", amps: 10, ampsText: "10"},
		{line: "ch=1 bus=9584 shunt=-32000", volts: 11.98, voltsText: "11.98", amps: -40, ampsText: "-40"},
		{line: "ch=1 bus=0 shunt=0", voltsText: "0", ampsText: "0"},
		// 7FFFh and 8000h are the ends of a 16-bit register in two's complement.
		{line: "ch=1 bus=32767 shunt=32767", voltsFault: "saturated: 32767 counts", ampsFault: "saturated: 32767 counts"},
		{line: "ch=1 bus=4000 shunt=-32768", volts: 5, voltsText: "5", ampsFault: "saturated: -32768 counts"},
		{line: "ch=1 fault=no answer", voltsFault: "the board says: no answer", ampsFault: "the board says: no answer"},
	} {
		t.Run(c.line, func(t *testing.T) {
			v, err := lines.Parse(l, c.line)
			if err != nil || len(v) != 2 {
				t.Fatalf("got %v, %v", v, err)
			}
			if v[0].Quantity != run.Voltage || v[0].Value != c.volts || v[0].Text != c.voltsText || v[0].Fault != c.voltsFault || v[0].Unit != "V" {
				t.Errorf("voltage: %+v", v[0])
			}
			if v[1].Quantity != run.Current || v[1].Value != c.amps || v[1].Text != c.ampsText || v[1].Fault != c.ampsFault || v[1].Unit != "A" {
				t.Errorf("current: %+v", v[1])
			}
			if v[0].Channel != "1" || v[1].Channel != "1" {
				t.Errorf("channels %q, %q", v[0].Channel, v[1].Channel)
			}
		})
	}
}

func TestPlainLines(t *testing.T) {
	l := line(t, "plain-lines")
	for _, c := range []struct {
		line    string
		channel string
		q       run.Quantity
		si      float64
		text    string
		unit    string
	}{
		{"1,4.812,V", "1", run.Voltage, 4.812, "4.812", "V"},
		{"far end,4812,mV", "far end", run.Voltage, 4.812, "4812", "mV"},
		{"1,-2.500e3,uV", "1", run.Voltage, -0.0025, "-2.500e3", "uV"},
		{"2,+2310.0,mA", "2", run.Current, 2.31, "+2310.0", "mA"},
		{"2,.5,A", "2", run.Current, 0.5, ".5", "A"},
		{"2,7,uA", "2", run.Current, 7e-6, "7", "uA"},
		{"strip,31.50,degC", "strip", run.Temperature, 31.5, "31.50", "degC"},
	} {
		v, err := lines.Parse(l, c.line)
		want := reading.Sample{Channel: c.channel, Reading: reading.Reading{Quantity: c.q, Value: c.si, Text: c.text, Unit: c.unit}, Raw: c.text}
		if err != nil || len(v) != 1 || v[0] != want {
			t.Errorf("%q: got %+v, %v, want %+v", c.line, v, err, want)
		}
	}
	if v, err := lines.Parse(l, "# hall cabinet"); v != nil || err != nil {
		t.Errorf("a comment gives %v, %v", v, err)
	}
}

func TestBadLines(t *testing.T) {
	for _, c := range []struct{ profile, line, want string }{
		{"plain-lines", "", "form"},
		{"plain-lines", "hello", "form"},
		{"plain-lines", "1,4.8", "form"},
		{"plain-lines", "1,4.8,V,4.9", "form"},
		{"plain-lines", "1,4.8,V ", "form"},
		{"plain-lines", " # not at the line's beginning", "form"},
		{"plain-lines", ",4.8,V", "form"},
		{"plain-lines", "1,,V", "form"},
		{"plain-lines", "1, 4.8,V", `" 4.8" is not a decimal number`},
		{"plain-lines", "1,4.8.1,V", `"4.8.1" is not a decimal number`},
		{"plain-lines", "1,NaN,V", `"NaN" is not a decimal number`},
		{"plain-lines", "1,inf,V", `"inf" is not a decimal number`},
		{"plain-lines", "1,1e400,V", "1e400 is not a measured value"},
		{"plain-lines", "1,0x1p3,V", `"0x1p3" is not a decimal number`},
		{"plain-lines", "1,1_000,V", `"1_000" is not a decimal number`},
		{"plain-lines", "1,9.9E37,V", "not a measured value"},
		{"plain-lines", "1,-300,degC", "below absolute zero"},
		{"plain-lines", "1,e,V", `"e" is not a decimal number`},
		{"plain-lines", "1,4.8,kV", `"kV" is not a known unit`},
		{"plain-lines", "1,4.8,v", `"v" is not a known unit`},
		{"plain-lines", "1\x00,4.8,V", "byte 2 is not text"},
		{"plain-lines", "1,4.8,V\r", "byte 8 is not text"},
		{"plain-lines", "\xff\xfe,4.8,V", "byte 1 is not text"},
		{"ina226-lines", "ch=1 bus=9584", "form"},
		{"ina226-lines", "ch=1 bus=-1 shunt=3", "form"},
		{"ina226-lines", "ch=1 bus=99999999999999999999 shunt=3", "not a whole number"},
		{"ina226-lines", "ch=1 bus=9584 shunt=8000 bus=9584", "form"},
	} {
		v, err := lines.Parse(line(t, c.profile), c.line)
		if err == nil || v != nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s %q: got %v, %v, want an error with %q", c.profile, c.line, v, err, c.want)
		}
	}
	if _, err := lines.Parse(line(t, "plain-lines"), "x"); !errors.Is(err, lines.ErrForm) {
		t.Errorf("got %v", err)
	}
}

// A board without channel numbers, values in a fixed unit and an optional part.
func TestOwnProfile(t *testing.T) {
	p, err := profile.Parse("own.toml", []byte(`name = "own"
title = "Own"
kind = "lines"
[port]
baud = 9600
[line]
pattern = 'T (?P<celsius>\S+)( I (?P<amps>\S+))?'
[[line.field]]
group = "celsius"
unit = "degC"
[[line.field]]
group = "amps"
unit = "mA"
`))
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{
		"T 20.5":       "1 temperature 20.5 20.5 degC;",
		"T 20.5 I 250": "1 temperature 20.5 20.5 degC;1 current 0.25 250 mA;",
	} {
		v, err := lines.Parse(p.Line, text)
		got := ""
		for _, v := range v {
			got += fmt.Sprint(v.Channel, " ", v.Quantity, " ", v.Value, " ", v.Text, " ", v.Unit, ";")
		}
		if err != nil || got != want {
			t.Errorf("%q: got %s, %v, want %s", text, got, err, want)
		}
	}
	if _, err := lines.Parse(p.Line, "# no comments here"); err == nil {
		t.Error("a comment was taken though the profile knows none")
	}
}

// No line causes a panic, an accepted value is finite, and a
// faulty one carries no number.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"ch=1 shunt=4BF000 bus=3C0000 temp=0C80 flags=0203", "ch=1 shunt=07D0 bus=5D99", "ch=1 shunt=7FFF bus=2570", "1,4.812,V", "1,1e308,mV", "ch=1 bus=9584 shunt=8000", "ch=2 fault=x", "# c", "\xff,1,V", "1,1e-400,A"} {
		f.Add(s)
	}
	var forms []profile.Line
	for _, name := range []string{"plain-lines", "ina226-lines", "ina219-registers", "ina226-registers", "ina228-registers"} {
		forms = append(forms, line(f, name))
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, l := range forms {
			values, err := lines.Parse(l, s)
			if err != nil && values != nil {
				t.Errorf("%q: values beside an error", s)
			}
			for _, v := range values {
				if math.IsNaN(v.Value) || math.IsInf(v.Value, 0) {
					t.Errorf("%q: %v", s, v.Value)
				}
				if v.Fault != "" && (v.Value != 0 || v.Text != "") {
					t.Errorf("%q: a faulty value holds a number: %+v", s, v)
				}
				if (v.Fault == "") != (v.Quality == reading.Good) {
					t.Errorf("%q: %v beside %q", s, v.Quality, v.Fault)
				}
				if v.Fault == "" && l.Fields[0].Counts == false && !strings.Contains(s, v.Text) {
					t.Errorf("%q: %q was not sent", s, v.Text)
				}
			}
		}
	})
}

func BenchmarkParse(b *testing.B) {
	for name, text := range map[string]string{"plain-lines": "1,4.812,V", "ina226-lines": "ch=1 bus=9584 shunt=8000",
		"ina228-registers": "ch=1 shunt=4BF000 bus=3C0000 temp=0C80 flags=0003"} {
		l := line(b, name)
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := lines.Parse(l, text); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// A correction of the shunt computes from the counts, so that several corrections in a row give the
// same digits as the last one alone.
func TestCorrectionsDoNotAddUp(t *testing.T) {
	l := line(t, "ina226-lines")
	for counts := 1; counts < 3000; counts += 7 {
		values, err := lines.Parse(l, fmt.Sprintf("ch=1 bus=0 shunt=%d", counts))
		if err != nil {
			t.Fatal(err)
		}
		first := values[1]
		v := first
		for i := range 40 {
			if v, err = v.WithShunt(0.0011 + 0.00013*float64(i)); err != nil {
				t.Fatal(err)
			}
		}
		if v, err = v.WithShunt(first.Shunt); err != nil || v.Text != first.Text || v.Value != first.Value {
			t.Fatalf("%d counts: %s became %s, %v", counts, first.Text, v.Text, err)
		}
	}
}

package scpi_test

import (
	"math"
	"reflect"
	"testing"

	"ohmkeep/internal/instrument/scpi"
	"ohmkeep/internal/reading"
)

// The forms are NR1, NR2 and NR3 of IEEE 488.2 as restated in programming guides
// of instruments; ±9.9E37 and 9.91E37 are SCPI-1999's infinity and not-a-number,
// as restated in the same. That an instrument sends blanks for a plus sign and
// leading zeros is common practice, no source.
func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		response string
		want     []scpi.Number
	}{
		{"12", []scpi.Number{{Text: "12", Value: 12}}},
		{"1.19", []scpi.Number{{Text: "1.19", Value: 1.19}}},
		{"+1.23456789E+01", []scpi.Number{{Text: "+1.23456789E+01", Value: 12.3456789}}},
		{"-1.23456789E-03", []scpi.Number{{Text: "-1.23456789E-03", Value: -0.00123456789}}},
		{"  1.5e0\r", []scpi.Number{{Text: "1.5e0", Value: 1.5}}},
		{"+1.0E+00, 2,-3.5", []scpi.Number{{Text: "+1.0E+00", Value: 1}, {Text: "2", Value: 2}, {Text: "-3.5", Value: -3.5}}},
		{"9.9E37", []scpi.Number{{Text: "9.9E37", Value: 9.9e37, Quality: reading.Overload}}},
		{"+9.90000000E+37", []scpi.Number{{Text: "+9.90000000E+37", Value: 9.9e37, Quality: reading.Overload}}},
		{"-9.9E+37", []scpi.Number{{Text: "-9.9E+37", Value: -9.9e37, Quality: reading.Overload}}},
		{"9.91E37", []scpi.Number{{Text: "9.91E37", Value: 9.91e37, Quality: reading.Faulty}}},
		{"+9.91000E+37", []scpi.Number{{Text: "+9.91000E+37", Value: 9.91e37, Quality: reading.Faulty}}},
		{"1E38", []scpi.Number{{Text: "1E38", Value: 1e38, Quality: reading.Overload}}},
		{"-1E999", []scpi.Number{{Text: "-1E999", Value: math.Inf(-1), Quality: reading.Overload}}},
		{"9.8E37", []scpi.Number{{Text: "9.8E37", Value: 9.8e37}}},
	} {
		got, err := scpi.ParseNumbers(c.response)
		if err != nil || !reflect.DeepEqual(got, c.want) {
			t.Errorf("%q: got %v, %v, want %v", c.response, got, err, c.want)
		}
	}
	for _, s := range []string{"", ",", "1,", "abc", "1.2 V", "NaN", "INF", "0x10", "#HA2F", "1 2", "--1", "1e", "+"} {
		if got, err := scpi.ParseNumbers(s); err == nil {
			t.Errorf("%q: got %v, want an error", s, got)
		}
	}
}

// Four fields separated by commas, ASCII 0 for an unknown serial number or firmware: IEEE 488.2,
// 10.14, as restated in programming guides. All names are invented.
func TestIdentity(t *testing.T) {
	for _, c := range []struct {
		response string
		want     scpi.Identity
	}{
		{"NOBODY,M1,SN7,1.00-2.00", scpi.Identity{Maker: "NOBODY", Model: "M1", Serial: "SN7", Firmware: "1.00-2.00"}},
		{"NOBODY,M1,0,0", scpi.Identity{Maker: "NOBODY", Model: "M1"}},
		{" NOBODY , M1 ,0,1.0\r", scpi.Identity{Maker: "NOBODY", Model: "M1", Firmware: "1.0"}},
		{"*IDN NOBODY,M1,SN7,1.0,2.0,3", scpi.Identity{Maker: "NOBODY", Model: "M1", Serial: "SN7", Firmware: "1.0,2.0,3"}},
		{"NOBODY M1", scpi.Identity{Maker: "NOBODY M1"}},
		{"NOBODY,M1", scpi.Identity{Maker: "NOBODY", Model: "M1"}},
	} {
		got, err := scpi.ParseIdentity(c.response)
		if got.Text == "" {
			t.Errorf("%q: the response was not kept", c.response)
		}
		got.Text = ""
		if err != nil || got != c.want {
			t.Errorf("%q: got %+v, %v, want %+v", c.response, got, err, c.want)
		}
	}
	if _, err := scpi.ParseIdentity(" \r\n"); err == nil {
		t.Error("an empty identity was taken")
	}
}

// Numbers, texts and classes: SCPI-1999, volume 2, chapter 21, as listed by a
// parser library for instruments.
func TestErrorQueueEntry(t *testing.T) {
	for _, c := range []struct {
		response string
		want     scpi.Error
		class    string
	}{
		{`0,"No error"`, scpi.Error{Text: "No error"}, "no error"},
		{`+0,"No error"`, scpi.Error{Text: "No error"}, "no error"},
		{`0`, scpi.Error{}, "no error"},
		{`0,No error`, scpi.Error{Text: "No error"}, "no error"},
		{`-113,"Undefined header"`, scpi.Error{Number: -113, Text: "Undefined header"}, "command"},
		{"-222 , \"Data out of range;VOLT 9\"\r", scpi.Error{Number: -222, Text: "Data out of range;VOLT 9"}, "execution"},
		{`-350,"Queue overflow"`, scpi.Error{Number: -350, Text: "Queue overflow"}, "device"},
		{`-410,"Query INTERRUPTED"`, scpi.Error{Number: -410, Text: "Query INTERRUPTED"}, "query"},
		{`521,"Input ""high"" open, check"`, scpi.Error{Number: 521, Text: `Input "high" open, check`}, "the instrument's own"},
	} {
		got, err := scpi.ParseError(c.response)
		if err != nil || got != c.want || got.Class() != c.class {
			t.Errorf("%q: got %+v (%s), %v, want %+v (%s)", c.response, got, got.Class(), err, c.want, c.class)
		}
	}
	for _, s := range []string{"", "No error", `"No error",0`, "1.5,\"x\"", "12,13", "+1.0E+00", "99999999999,\"x\""} {
		if got, err := scpi.ParseError(s); err == nil {
			t.Errorf("%q: got %+v, want an error", s, got)
		}
	}
}

// No response causes a panic, and a number that counts as a measurement is
// finite and below SCPI's infinity.
func FuzzResponses(f *testing.F) {
	for _, s := range []string{"+1.23456789E+01", "9.91E37,-9.9E37", `-113,"Undefined header"`, "A,B,0,0", "*IDN A,B", `1,"`, "1e-999", "*IDN "} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		numbers, err := scpi.ParseNumbers(s)
		if err == nil && len(numbers) == 0 {
			t.Errorf("%q: neither numbers nor an error", s)
		}
		for _, n := range numbers {
			if n.Quality == reading.Good && !(math.Abs(n.Value) < 9.9e37) {
				t.Errorf("%q: %v counts as measured", s, n.Value)
			}
		}
		_, _ = scpi.ParseError(s)
		if id, err := scpi.ParseIdentity(s); err == nil && id.Text == "" {
			t.Errorf("%q: an identity without text", s)
		}
	})
}

package characters_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"ohmkeep/internal/instrument/characters"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/devices"
)

// A picture written by hand from the datasheet's tables, as public notes restate them: range 1 of
// function B (22.000 V), digits 12345, option 3 DC and auto. The encoder of simulate/devices makes
// the same picture from a table of its own.
func TestByHand(t *testing.T) {
	picture := []byte("112345;000:0\r\n")
	p, err := characters.Decode(picture)
	if err != nil || p.Digits != "12.345" || p.Unit != "V" || !p.Sample(run.Voltage).Good() {
		t.Errorf("got %+v, %v", p, err)
	}
	if got := devices.CharacterPicture("12.345", "V", "DC", "auto"); !bytes.Equal(got, picture) {
		t.Errorf("encoded %q, want %q", got, picture)
	}
}

// shown are the ranges of the table: how the display writes 22000 counts in each.
var shown = []struct {
	form, unit string
	symbols    []string
}{
	{"2.2000", "V", nil}, {"22.000", "V", nil}, {"220.00", "V", nil}, {"2200.0", "V", nil}, {"220.00", "mV", nil},
	{"22.000", "A", nil}, {"2.2000", "A", nil}, {"220.00", "A", nil}, {"2200.0", "A", nil}, {"22000", "A", nil},
	{"220.00", "uA", nil}, {"2200.0", "uA", nil}, {"22.000", "mA", nil}, {"220.00", "mA", nil},
}

// Each digit at each place that a display of 22 000 counts shows, with both signs, in each range, with and without
// parity bits, is decoded as it was encoded.
func TestRoundTrip(t *testing.T) {
	for _, r := range shown {
		for _, sign := range []string{"", "-"} {
			texts := []string{"20000", "21999", "22000"}
			for n := range 10 {
				texts = append(texts, fmt.Sprintf("%d%d%d%d%d", n%2, (n+1)%10, (n+3)%10, (n+7)%10, (n+5)%10))
			}
			for _, text := range texts {
				if point := strings.Index(r.form, "."); point >= 0 {
					text = text[:point] + "." + text[point:]
				}
				picture := devices.CharacterPicture(sign+text, r.unit, "DC")
				for _, sent := range [][]byte{picture, devices.OddParity(picture)} {
					p, err := characters.Decode(sent)
					q, known := p.Quantity()
					s := p.Sample(q)
					if err != nil || !known || !s.Good() || s.Text != sign+text || s.Unit != r.unit {
						t.Fatalf("%s%s %s: got %+v, %+v, %v", sign, text, r.unit, p, s, err)
					}
				}
			}
		}
	}
}

func TestClamp(t *testing.T) {
	for unit, want := range map[string]string{"uA": "123.45 A, clamp, DC", "mA": "12.345 A, clamp, DC"} {
		text := strings.Fields(want)[0]
		p, err := characters.Decode(devices.CharacterPicture(text, unit, "DC", "VBAR"))
		if s := p.Sample(run.Current); err != nil || p.String() != want || !s.Good() || s.Text != text || s.Unit != "A" {
			t.Errorf("got %v, %+v, %v", p, s, err)
		}
	}
}

func TestMarked(t *testing.T) {
	for symbols, want := range map[string]struct {
		quality reading.Quality
		fault   string
	}{
		"DC":          {reading.Good, ""},
		"DC auto":     {reading.Good, ""},
		"DC judge":    {reading.Good, ""}, // of the temperature function
		"AC":          {reading.Faulty, "AC"},
		"auto":        {reading.Faulty, "neither DC nor AC"},
		"AC DC":       {reading.Faulty, "AC"},
		"DC hold":     {reading.Faulty, "hold"},
		"DC relative": {reading.Faulty, "relative"},
		"DC battery":  {reading.Faulty, "low battery"},
		"DC maximum":  {reading.Faulty, "maximum"}, "DC minimum": {reading.Faulty, "minimum"},
		"DC peakmaximum": {reading.Faulty, "peak maximum"}, "DC peakminimum": {reading.Faulty, "peak minimum"},
		"DC rms": {reading.Faulty, "RMS"}, "DC VAHz": {reading.Faulty, "frequency"}, "DC lowpass": {reading.Faulty, "low-pass"},
		"DC underload":     {reading.Faulty, "underload"},
		"DC overload":      {reading.Overload, "overload"},
		"DC overload hold": {reading.Overload | reading.Faulty, "hold"},
	} {
		p, err := characters.Decode(devices.CharacterPicture("12.345", "V", strings.Fields(symbols)...))
		s := p.Sample(run.Voltage)
		if err != nil || s.Quality != want.quality || !strings.Contains(s.Fault, want.fault) || s.Good() != (s.Text != "") {
			t.Errorf("%s: got %+v, %v", symbols, s, err)
		}
	}
	for _, c := range []struct{ picture, fault string }{
		{"012345100080\r\n", "diode"}, {"012345200080\r\n", "frequency"}, {"712345300080\r\n", "resistance"},
		{"012345400080\r\n", "temperature"}, {"012345500080\r\n", "continuity"}, {"012345600080\r\n", "capacitance"},
		{"012345>00080\r\n", "adapter"}, {"012345000080\r\n", "shows no voltage but 12.345 A"},
	} {
		p, err := characters.Decode([]byte(c.picture))
		if s := p.Sample(run.Voltage); err != nil || s.Quality != reading.Faulty || !strings.Contains(s.Fault, c.fault) {
			t.Errorf("%q: got %+v, %v", c.picture, s, err)
		}
	}
}

func TestBad(t *testing.T) {
	for picture, want := range map[string]string{
		"":                    "0 characters, not 14",
		"112345;00080\r":      "13 characters",
		"1112345;00080\r\n":   "15 characters",
		"112345;00080\n\r":    "does not end with CR LF",
		"11234/;00080\r\n":    "character 6 is not one of 0 to ?",
		"11234:;00080\r\n":    "digit 5 is not one of 0 to 9",
		"112345700080\r\n":    "no function 7",
		"112345;00180\r\n":    "character 10 that is always 0 is 1",
		"112345;00088\r\n":    "character 12 that is always 0 is 1",
		"512345;00080\r\n":    "function B has no range 5",
		"022001;00080\r\n":    "22001 is more than its 22000 counts",
		"098765;04080\r\n":    "98765 is more than its 22000 counts",
		"\xb112345;00080\r\n": "wrong parity of character 1",
	} {
		if p, err := characters.Decode([]byte(picture)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: got %+v, %v, want %q", picture, p, err, want)
		}
	}
}

// With parity bits each flipped bit is found, also in LF. Without them a flip is found unless it
// makes another character of the same kind.
func TestFlippedBits(t *testing.T) {
	flip := func(picture []byte) (unseen, all int) {
		for i := range picture {
			for bit := range 8 {
				x := bytes.Clone(picture)
				x[i] ^= 1 << bit
				p, err := characters.Decode(x)
				all++
				if s := p.Sample(run.Voltage); err == nil && s.Good() {
					unseen++
				}
			}
		}
		return unseen, all
	}
	for n := 0; n <= 22000; n += 275 {
		text := fmt.Sprintf("%05d", n)
		picture := devices.CharacterPicture(text[:2]+"."+text[2:], "V", "DC")
		if unseen, _ := flip(devices.OddParity(picture)); unseen != 0 {
			t.Errorf("%s: %d flipped bits are not found", text, unseen)
		}
		// Of 112 bits: at most 4 of each digit's and 2 of the range's make another digit or range; sign, judge, auto
		// and VBAR change a symbol.
		if unseen, all := flip(picture); unseen > 5*4+2+4 || all != 112 {
			t.Errorf("%s: %d of %d flipped bits are not found without parity", text, unseen, all)
		}
	}
}

func FuzzDecode(f *testing.F) {
	f.Add(devices.CharacterPicture("-12.345", "V", "DC"))
	f.Add(devices.OddParity(devices.CharacterPicture("220.00", "mA", "DC", "hold")))
	f.Fuzz(func(t *testing.T, picture []byte) {
		p, err := characters.Decode(picture)
		if err != nil {
			return
		}
		if len(picture) != characters.Size || !characters.Whole(picture) || !characters.Ends(picture) {
			t.Errorf("%q was read", picture)
		}
		if p.Digits == "" {
			return
		}
		var sent []byte
		for _, b := range picture[1:6] {
			sent = append(sent, b&0x7f)
		}
		if bare := strings.TrimPrefix(strings.ReplaceAll(p.Digits, ".", ""), "-"); bare != string(sent) {
			t.Errorf("%q is shown as %q", picture, p.Digits)
		}
	})
}

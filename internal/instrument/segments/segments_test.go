package segments_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"ohmkeep/internal/instrument/display"
	"ohmkeep/internal/instrument/segments"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/devices"
)

// A picture written by hand, bit by bit, from the datasheet's table as public notes restate it:
// 0412 with point 2, DC, auto, RS-232, volt. The encoder of simulate/devices makes the same picture
// from a table of its own.
func TestByHand(t *testing.T) {
	picture := []byte{0x17, 0x27, 0x3D, 0x42, 0x57, 0x68, 0x75, 0x85, 0x9B, 0xA0, 0xB0, 0xC0, 0xD4, 0xE0}
	p, err := segments.Decode(picture, -1)
	if err != nil || p.Digits != "04.12" || p.Unit != "V" {
		t.Errorf("got %+v, %v", p, err)
	}
	if got := devices.SegmentPicture("04.12", "DC", "auto", "RS232", "V"); !bytes.Equal(got, picture) {
		t.Errorf("encoded % X, want % X", got, picture)
	}
}

// units are the displays that give a value, with their symbols.
var units = []struct {
	unit     string
	quantity run.Quantity
	symbols  []string
}{
	{"V", run.Voltage, []string{"V", "DC"}}, {"mV", run.Voltage, []string{"m", "V", "DC"}},
	{"A", run.Current, []string{"A", "DC"}}, {"mA", run.Current, []string{"m", "A", "DC"}}, {"uA", run.Current, []string{"u", "A", "DC"}},
	{"degC", run.Temperature, []string{"user1"}},
}

// Each digit at each place, with both signs, each point and each unit, is decoded as it was
// encoded.
func TestRoundTrip(t *testing.T) {
	for _, u := range units {
		for point := range 4 {
			for _, sign := range []string{"", "-"} {
				for n := range 10 {
					// The digits n, n+1, n+3 and n+7 bring each digit to each place.
					text := fmt.Sprintf("%d%d%d%d", n, (n+1)%10, (n+3)%10, (n+7)%10)
					if point > 0 {
						text = text[:point] + "." + text[point:]
					}
					if u.quantity == run.Temperature && point == 0 && sign == "-" {
						continue // below absolute zero
					}
					p, err := segments.Decode(devices.SegmentPicture(sign+text, u.symbols...), 1)
					s := p.Sample(u.quantity)
					if err != nil || !s.Good() && !(u.quantity == run.Temperature && strings.Contains(s.Fault, "absolute zero")) || p.Digits != sign+text || p.Unit != u.unit {
						t.Fatalf("%s%s %s: got %+v, %+v, %v", sign, text, u.unit, p, s, err)
					}
				}
			}
		}
	}
}

// Displays with marks that make a value unusable, and displays without a value.
func TestMarked(t *testing.T) {
	for _, c := range []struct {
		shown   string
		symbols string
		quality reading.Quality
		fault   string
	}{
		{"4.812", "V DC", reading.Good, ""},
		{"4.812", "V DC auto RS232", reading.Good, ""},
		{" 4.81", "V DC", reading.Good, ""},
		{"4.812", "V AC", reading.Faulty, "the display shows: AC"},
		{"4.812", "V AC DC", reading.Faulty, "AC"},
		{"4.812", "V", reading.Faulty, "neither DC nor AC"},
		{"4.812", "V DC hold", reading.Faulty, "hold"},
		{"4.812", "V DC relative", reading.Faulty, "relative"},
		{"4.812", "V DC battery", reading.Faulty, "low battery"},
		{"0.612", "V diode", reading.Faulty, "diode"},
		{"0.612", "V beep", reading.Faulty, "continuity"},
		{"4.812", "V DC hold battery", reading.Faulty, "hold, low battery"},
		{" 0L ", "V DC", reading.Overload, "overload"},
		{" 0.L ", "V DC", reading.Overload, "overload"},
		{"0L", "V DC", reading.Overload, "overload"},
		{"- 0.L ", "V DC", reading.Overload, "overload"},
		{" 0L ", "V AC", reading.Overload | reading.Faulty, "overload, and the display shows: AC"},
		{"    ", "V DC", reading.Faulty, "no number"},
		{"4.812", "k ohm", reading.Faulty, "shows no voltage but 4.812 kohm"},
		{"4.812", "A DC", reading.Faulty, "shows no voltage but 4.812 A"},
		{"4.812", "Hz", reading.Faulty, "shows no voltage but 4.812 Hz"},
		{"48.12", "%", reading.Faulty, "shows no voltage"},
		{"4.812", "n F", reading.Faulty, "shows no voltage"},
		{"4.812", "", reading.Faulty, "shows no voltage"},
	} {
		p, err := segments.Decode(devices.SegmentPicture(c.shown, strings.Fields(c.symbols)...), -1)
		s := p.Sample(run.Voltage)
		if err != nil || s.Quality != c.quality || !strings.Contains(s.Fault, c.fault) || s.Good() != (s.Text != "") {
			t.Errorf("%q %s: got %+v, %v", c.shown, c.symbols, s, err)
		}
	}
}

func TestBad(t *testing.T) {
	good := devices.SegmentPicture("4.812", "V", "DC")
	change := func(at int, b byte) []byte {
		x := bytes.Clone(good)
		x[at-1] = b
		return x
	}
	for want, picture := range map[string][]byte{
		"13 bytes, not 14":              good[:13],
		"15 bytes, not 14":              append(bytes.Clone(good), 0x10),
		"byte 3 has the number 4":       change(3, 0x47),
		"the segments of digit 2":       change(4, 0x48),
		"2 decimal points":              devices.SegmentPicture("4.8.12", "V", "DC"),
		"the units A and V":             devices.SegmentPicture("4.812", "V", "A", "DC"),
		"the prefixes u and m":          devices.SegmentPicture("4.812", "V", "m", "u", "DC"),
		"the prefix m without a unit":   devices.SegmentPicture("4.812", "m", "DC"),
		`a digit of "4. 12" is missing`: devices.SegmentPicture("4. 12", "V", "DC"),
		`"4.L12" is no number`:          devices.SegmentPicture("4.L12", "V", "DC"),
	} {
		if p, err := segments.Decode(picture, -1); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("% X: got %+v, %v, want %q", picture, p, err, want)
		}
	}
}

// The share of flipped bits that one picture reveals: all flips of a frame number, and those of
// segments that make no digit. The others change a digit or a symbol. The test holds the share, so
// that the limits of the format are known.
func TestFlippedBits(t *testing.T) {
	found, digit, symbol, same := 0, 0, 0, 0
	for n := 0; n < 10000; n += 7 {
		text := fmt.Sprintf("%04d", n)
		good := devices.SegmentPicture(text[:1]+"."+text[1:], "V", "DC")
		for i := range good {
			for bit := range 8 {
				x := bytes.Clone(good)
				x[i] ^= 1 << bit
				p, err := segments.Decode(x, -1)
				s := p.Sample(run.Voltage)
				switch {
				case err != nil || !s.Good():
					found++
				case bit >= 4:
					t.Fatalf("% X: a flipped number gave %+v", x, p)
				case p.Digits == text[:1]+"."+text[1:] && p.Unit == "V":
					same++ // auto, RS-232, user bits
				case p.Unit != "V" || p.Digits[0] == '-':
					symbol++
				default:
					digit++
				}
			}
		}
	}
	all := found + digit + symbol + same
	if share := float64(digit+symbol) / float64(all); share > 0.12 {
		t.Errorf("%.1f %% of flipped bits change the value unseen (%d digits, %d symbols of %d; %d change nothing)", 100*share, digit, symbol, all, same)
	}
	t.Logf("of %d flipped bits %d are found, %d change nothing, %d change the digits or their point, %d a sign, prefix or unit", all, found, same, digit, symbol)
}

// No bytes cause a panic, and what is decoded is encoded to the same digits.
func FuzzDecode(f *testing.F) {
	f.Add(devices.SegmentPicture("-04.12", "V", "DC"), int8(-1))
	f.Add(devices.SegmentPicture(" 0.L ", "m", "A", "hold"), int8(2))
	f.Fuzz(func(t *testing.T, picture []byte, celsius int8) {
		p, err := segments.Decode(picture, max(-1, min(3, int(celsius))))
		if err != nil {
			if p.Digits != "" || p.Overload {
				t.Errorf("an error and %+v", p)
			}
			return
		}
		if len(picture) != segments.Size {
			t.Errorf("%d bytes were read", len(picture))
		}
		if p.Digits == "" {
			return
		}
		blanks := strings.Repeat(" ", 4-len(strings.Trim(strings.ReplaceAll(p.Digits, ".", ""), "-")))
		sign, digits := "", p.Digits
		if p.Digits[0] == '-' {
			sign, digits = "-", p.Digits[1:]
		}
		again := devices.SegmentPicture(sign+blanks+digits, "V")
		for i := 1; i < 9; i++ {
			if again[i] != picture[i] && !strings.HasPrefix(digits, ".") {
				t.Errorf("byte %d: % X is shown as %q, which is % X", i+1, picture, p.Digits, again)
			}
		}
		for _, s := range p.Symbols {
			if s == display.AC && p.Sample(run.Voltage).Good() {
				t.Errorf("an AC value counts: %v", p)
			}
		}
	})
}

// Package segments reads the pictures of the chip FS9721_LP3 of handheld meters, which sends each segment of
// its display.
//
// A picture is 14 bytes. The high nibble of each is its number, 1 to 14; the low nibble holds four segments:
//
//	byte   bit 3    bit 2  bit 1     bit 0
//	1      AC       DC     auto      RS-232
//	2      minus    1A     1B        1C
//	3      1D       1E     1F        1G
//	4      point 1  2A     2B        2C
//	5      2D       2E     2F        2G
//	6      point 2  3A     3B        3C
//	7      3D       3E     3F        3G
//	8      point 3  4A     4B        4C
//	9      4D       4E     4F        4G
//	10     µ        n      k         diode
//	11     m        % duty M         beep
//	12     farad    ohm    relative  hold
//	13     ampere   volt   hertz     low battery
//	14     user bits
//
// C is the segment on top, B upper left, G upper right, F middle, A lower left, E lower right, D bottom. Point k
// stands before digit k+1. Source: datasheet of FS9721_LP3 as restated in public notes; the lettering is ours. No
// instrument was at hand.
//
// What is found: bytes that are missing, doubled, exchanged or of a wrong number; segments that are no digit; two
// points, two units or two prefixes at once. There is no checksum: a flipped bit that turns a digit, prefix or
// symbol into another valid one cannot be found in one picture.
package segments

import (
	"errors"
	"fmt"
	"strings"

	"ohmkeep/internal/instrument/display"
)

// Size is the number of bytes of a picture.
const Size = 14

// Ends reports whether the last byte of what was received may end a picture. The byte number 14 does, but not so
// early that its number must be wrong.
func Ends(received []byte) bool {
	return len(received) >= Size && received[len(received)-1]>>4 == Size
}

// Whole reports whether Size bytes have the numbers of a picture.
func Whole(picture []byte) bool { return checkNumbers(picture) == nil }

// ErrForm is wrapped by the error of bytes that are no picture of the chip.
var ErrForm = errors.New("not a picture of the display")

func checkNumbers(picture []byte) error {
	if len(picture) != Size {
		return fmt.Errorf("%w: %d bytes, not %d", ErrForm, len(picture), Size)
	}
	for i, b := range picture {
		if int(b>>4) != i+1 {
			return fmt.Errorf("%w: byte %d has the number %d", ErrForm, i+1, b>>4)
		}
	}
	return nil
}

// digits are the characters by their segments, ABCDEFG from bit 6 to bit 0.
var digits = map[byte]byte{
	0b1111101: '0', 0b0000101: '1', 0b1011011: '2', 0b0011111: '3', 0b0100111: '4',
	0b0111110: '5', 0b1111110: '6', 0b0010101: '7', 0b1111111: '8', 0b0111111: '9',
	0b1101000: 'L', 0b0000000: ' ',
}

// Decode reads one picture. celsius is the user bit, 0 to 3, that is the symbol °C, −1 where the meter has none.
func Decode(picture []byte, celsius int) (display.Picture, error) {
	if err := checkNumbers(picture); err != nil {
		return display.Picture{}, err
	}
	bit := func(number, bit int) bool { return picture[number-1]&(1<<bit) != 0 }
	var p display.Picture
	var err error
	if p.Digits, p.Overload, err = number(bit, picture); err != nil {
		return display.Picture{}, err
	}
	if p.Unit, err = unit(bit, celsius); err != nil {
		return display.Picture{}, err
	}
	for _, s := range []struct {
		number, bit int
		symbol      display.Symbol
	}{{1, 3, display.AC}, {1, 2, display.DC}, {1, 1, display.Auto}, {10, 0, display.Diode}, {11, 0, display.Continuity},
		{12, 1, display.Relative}, {12, 0, display.Hold}, {13, 0, display.LowBattery}} {
		if bit(s.number, s.bit) {
			p.Symbols = append(p.Symbols, s.symbol)
		}
	}
	return p, nil
}

// number returns the shown number with its sign and point, or that the display shows overload.
func number(bit func(number, bit int) bool, picture []byte) (text string, overload bool, err error) {
	var b strings.Builder
	points := 0
	for k := range 4 {
		high, low := picture[1+2*k], picture[2+2*k]
		c, known := digits[high&7<<4|low&15]
		if !known {
			return "", false, fmt.Errorf("%w: the segments of digit %d are no digit", ErrForm, k+1)
		}
		if k > 0 && bit(2+2*k, 3) {
			points++
			b.WriteByte('.')
		}
		b.WriteByte(c)
	}
	shown := b.String()
	bare := strings.TrimLeft(strings.ReplaceAll(shown, ".", ""), " ")
	switch {
	case points > 1:
		return "", false, fmt.Errorf("%w: it shows %d decimal points", ErrForm, points)
	case strings.TrimSpace(bare) == "0L":
		return "", true, nil
	case strings.Contains(bare, "L"):
		return "", false, fmt.Errorf("%w: %q is no number", ErrForm, shown)
	case strings.TrimSpace(bare) == "":
		return "", false, nil
	case strings.Contains(bare, " "), strings.Contains(strings.TrimLeft(shown, " "), " "):
		return "", false, fmt.Errorf("%w: a digit of %q is missing", ErrForm, shown)
	}
	text = strings.TrimLeft(shown, " ")
	if bit(2, 3) {
		text = "-" + text
	}
	return text, false, nil
}

// unit returns the shown unit with its prefix.
func unit(bit func(number, bit int) bool, celsius int) (string, error) {
	var units, prefixes []string
	for _, s := range []struct {
		number, bit int
		name        string
	}{{11, 2, "%"}, {12, 3, "F"}, {12, 2, "ohm"}, {13, 3, "A"}, {13, 2, "V"}, {13, 1, "Hz"}, {14, celsius, "degC"}} {
		if s.bit >= 0 && bit(s.number, s.bit) {
			units = append(units, s.name)
		}
	}
	for _, s := range []struct {
		number, bit int
		name        string
	}{{10, 3, "u"}, {10, 2, "n"}, {10, 1, "k"}, {11, 3, "m"}, {11, 1, "M"}} {
		if bit(s.number, s.bit) {
			prefixes = append(prefixes, s.name)
		}
	}
	switch {
	case len(units) > 1:
		return "", fmt.Errorf("%w: it shows the units %s", ErrForm, strings.Join(units, " and "))
	case len(prefixes) > 1:
		return "", fmt.Errorf("%w: it shows the prefixes %s", ErrForm, strings.Join(prefixes, " and "))
	case len(units) == 0 && len(prefixes) > 0:
		return "", fmt.Errorf("%w: it shows the prefix %s without a unit", ErrForm, prefixes[0])
	case len(units) == 0:
		return "", nil
	case len(prefixes) == 0:
		return units[0], nil
	}
	return prefixes[0] + units[0], nil
}

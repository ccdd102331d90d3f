package devices

import (
	"context"
	"fmt"
	"math/bits"
	"slices"
	"strings"
	"time"
)

// Handheld is a simulated handheld meter, which sends pictures of its display at a steady interval.
type Handheld struct {
	Wire
	interval time.Duration
	picture  func() []byte
}

// NewHandheld returns a meter at the instrument's end of a pair; picture returns what it sends next.
func NewHandheld(p *Pair, picture func() []byte, interval time.Duration) *Handheld {
	return &Handheld{Wire: Wire{device: p.Device}, interval: interval, picture: picture}
}

// Run sends until ctx ends or the cable is closed.
func (h *Handheld) Run(ctx context.Context) error {
	beat := time.NewTicker(h.interval)
	defer beat.Stop()
	for {
		if err := h.Send(string(h.picture())); err != nil {
			return ctx.Err()
		}
		select {
		case <-beat.C:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// segmentTable is which segment each bit of an FS9721's picture is, bit 3 first; a row is a byte. It and the drawings
// below are the source of this encoder, which shares nothing with package segments.
const segmentTable = `AC DC auto RS232
minus 1A 1B 1C
1D 1E 1F 1G
point1 2A 2B 2C
2D 2E 2F 2G
point2 3A 3B 3C
3D 3E 3F 3G
point3 4A 4B 4C
4D 4E 4F 4G
u n k diode
m % M beep
F ohm relative hold
A V Hz battery
user3 user2 user1 user0`

// The characters as a display of seven segments draws them, and which segment is where: C on top, B upper left, F
// middle, G upper right, A lower left, D bottom, E lower right.
const (
	segmentPlaces = " C BFGADE"
	drawnDigits   = "0123456789L "
)

var segmentDrawings = []string{
	" _ | ||_|", "     |  |", " _  _||_ ", " _  _| _|", "   |_|  |", " _ |_  _|", " _ |_ |_|", " _   |  |", " _ |_||_|",
	" _ |_| _|", "   |  |_ ", "         ",
}

// SegmentPicture returns the 14 bytes by which an FS9721 sends a display: up to four characters, 0 to 9, L or blank,
// with sign and point, such as "-04.12" or " 0.L ", and the symbols by their names in segmentTable.
func SegmentPicture(shown string, symbols ...string) []byte {
	lit := slices.Clone(symbols)
	digit := 0
	for _, c := range shown {
		switch c {
		case '-':
			lit = append(lit, "minus")
		case '.':
			lit = append(lit, fmt.Sprintf("point%d", digit))
		default:
			digit++
			for place, stroke := range segmentDrawings[strings.IndexRune(drawnDigits, c)] {
				if stroke != ' ' {
					lit = append(lit, fmt.Sprintf("%d%c", digit, segmentPlaces[place]))
				}
			}
		}
	}
	var picture []byte
	for i, row := range strings.Split(segmentTable, "\n") {
		low := 0
		for _, name := range strings.Fields(row) {
			low *= 2
			if slices.Contains(lit, name) {
				low++
			}
		}
		picture = append(picture, byte((i+1)*16+low))
	}
	return picture
}

// characterFunctions are the codes of an ES51922's functions by unit, and its ranges as the display writes them, in
// the order of their codes. They and characterOptions are the source of this encoder, which shares nothing with
// package characters.
var characterFunctions = []struct {
	code   byte
	unit   string
	ranges []string
}{
	{'0', "A", []string{"22.000"}},
	{'1', "diode", []string{"2.2000"}},
	{'3', "ohm", []string{"220.00"}},
	{'9', "A", []string{"2.2000", "22.000", "220.00", "2200.0", "22000"}},
	{';', "V", []string{"2.2000", "22.000", "220.00", "2200.0"}},
	{'=', "uA", []string{"220.00", "2200.0"}},
	{'?', "mA", []string{"22.000", "220.00"}},
}

// characterOptions are the bits of status and options, bit 3 first; a row is a character.
const characterOptions = `judge minus battery overload
maximum minimum relative rms
underload peakmaximum peakminimum -
DC AC auto VAHz
- VBAR hold lowpass`

// CharacterPicture returns the line by which an ES51922 sends a display, without parity bits: five digits with
// their point, such as "-12.345", a unit, and the symbols by their names in characterOptions.
func CharacterPicture(shown, unit string, symbols ...string) []byte {
	digits, negative := strings.CutPrefix(shown, "-")
	if negative {
		symbols = append(slices.Clone(symbols), "minus")
	}
	form := func(s string) int { return strings.Index(s, ".") }
	at, code := byte('?'), byte(';')
	if unit == "mV" {
		at = '4'
	}
	for _, f := range characterFunctions {
		for i, r := range f.ranges {
			if f.unit == unit && form(r) == form(digits) && at == '?' {
				at, code = byte('0'+i), f.code
			}
		}
	}
	line := string(at) + strings.ReplaceAll(digits, ".", "") + string(code)
	for row := range strings.Lines(characterOptions) {
		low := 0
		for i, name := range strings.Fields(row) {
			if slices.Contains(symbols, name) {
				low += 8 >> i
			}
		}
		line += string(rune('0' + low))
	}
	return []byte(line + "\r\n")
}

// OddParity adds to each character of 7 bits the parity bit that makes its number of ones odd, as the eighth.
func OddParity(characters []byte) []byte {
	sent := slices.Clone(characters)
	for i, c := range sent {
		if bits.OnesCount8(c)%2 == 0 {
			sent[i] = c | 0x80
		}
	}
	return sent
}

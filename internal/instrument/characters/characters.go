// Package characters reads the pictures of the ES519xx family of chips of handheld meters, which sends its
// display as characters.
//
// A picture is a line of characters "0" to "?" (0110000 to 0111111) that ends with CR LF, at 7 data bits, odd parity
// and 1 stop bit: range, digits, function, status, options. The low four bits of a character are its meaning. Source:
// datasheets of the family as restated in public notes. No instrument was at hand.
//
// Of the family only the ES51922 is read. For the function codes of ES51986 and ES51978 no source was found, and
// a value whose function is guessed is worse than none.
//
// What is found: pictures that are cut or have a character too many; characters outside "0" to "?"; functions, ranges,
// numbers above 22 000 and bits that the chip does not send; a wrong parity, where the eighth bit arrives. A pseudo-terminal carries no
// parity; there, a flipped bit that turns a character into another valid one cannot be found in one picture.
package characters

import (
	"errors"
	"fmt"
	"math/bits"

	"ohmkeep/internal/instrument/display"
)

// Size is the number of characters of an ES51922's picture, CR and LF included.
const Size = 14

// ErrForm is wrapped by the error of characters that are no picture of the chip.
var ErrForm = errors.New("not a picture of the display")

// character is a received byte without its parity bit.
func character(b byte) byte { return b & 0x7f }

// Ends reports whether the last byte of what was received ends a picture.
func Ends(received []byte) bool {
	return len(received) > 0 && character(received[len(received)-1]) == '\n'
}

// Whole reports whether Size bytes have the form of a picture.
func Whole(picture []byte) bool { return checkForm(picture) == nil }

// checkForm checks length, characters and parity. The eighth bits are the parity bits, or none of them was
// transmitted: the picture's LF alone has a parity bit of 1.
func checkForm(picture []byte) error {
	if len(picture) != Size {
		return fmt.Errorf("%w: %d characters, not %d", ErrForm, len(picture), Size)
	}
	all := byte(0)
	for i, b := range picture {
		all |= b & 0x80
		switch c := character(b); {
		case i == Size-2 && c != '\r', i == Size-1 && c != '\n':
			return fmt.Errorf("%w: it does not end with CR LF", ErrForm)
		case i < Size-2 && (c < '0' || c > '?'):
			return fmt.Errorf("%w: character %d is not one of 0 to ?", ErrForm, i+1)
		}
	}
	if all == 0 {
		return nil
	}
	for i, b := range picture {
		if bits.OnesCount8(b)%2 == 0 {
			return fmt.Errorf("%w: wrong parity of character %d", ErrForm, i+1)
		}
	}
	return nil
}

// maxCounts is the largest number that an ES51922 shows, its decimal point disregarded. Beyond it, it shows overload.
const maxCounts = 22000

// Positions in a picture of an ES51922.
const (
	atRange    = 0
	atDigits   = 1
	countDigit = 5
	atFunction = 6
	atStatus   = 7
	atOptions  = 8
)

// flag is a bit that is a symbol of the display.
type flag struct {
	at, bit int
	symbol  display.Symbol
}

var flags = []flag{
	{atOptions + 2, 2, display.AC}, {atOptions + 2, 3, display.DC}, {atOptions + 2, 1, display.Auto},
	{atOptions + 2, 0, display.Hertz},
	{atStatus, 1, display.LowBattery},
	{atOptions, 3, display.Maximum}, {atOptions, 2, display.Minimum}, {atOptions, 1, display.Relative}, {atOptions, 0, display.RMS},
	{atOptions + 1, 3, display.Underload}, {atOptions + 1, 2, display.PeakMaximum}, {atOptions + 1, 1, display.PeakMinimum},
	{atOptions + 3, 1, display.Hold}, {atOptions + 3, 0, display.LowPass},
}

// zero are the bits that an ES51922 always sends as 0.
var zero = []flag{{at: atOptions + 1, bit: 0}, {at: atOptions + 3, bit: 3}}

const (
	signBit, overloadBit = 2, 0 // of status
	clampBit             = 2    // VBAR, of option 4
)

// Decode reads one picture of an ES51922.
func Decode(picture []byte) (display.Picture, error) {
	if err := checkForm(picture); err != nil {
		return display.Picture{}, err
	}
	low := func(at int) int { return int(picture[at] & 15) }
	bit := func(at, bit int) bool { return low(at)&(1<<bit) != 0 }
	var text [countDigit]byte
	counts := 0
	for i := range text {
		d := low(atDigits + i)
		if d > 9 {
			return display.Picture{}, fmt.Errorf("%w: digit %d is not one of 0 to 9", ErrForm, i+1)
		}
		text[i] = byte('0' + d)
		counts = 10*counts + d
	}
	for _, f := range zero {
		if bit(f.at, f.bit) {
			return display.Picture{}, fmt.Errorf("%w: a bit of character %d that is always 0 is 1", ErrForm, f.at+1)
		}
	}
	clamp := bit(atOptions+3, clampBit)
	is, err := functionOf(low(atFunction), low(atRange), clamp)
	if err != nil {
		return display.Picture{}, err
	}
	p := display.Picture{Unit: is.unit, Overload: bit(atStatus, overloadBit)}
	if is.symbol != "" {
		p.Symbols = append(p.Symbols, is.symbol)
	}
	for _, f := range flags {
		if bit(f.at, f.bit) {
			p.Symbols = append(p.Symbols, f.symbol)
		}
	}
	if !p.Overload && is.unit != "" {
		if counts > maxCounts {
			return display.Picture{}, fmt.Errorf("%w: %s is more than its %d counts", ErrForm, text[:], maxCounts)
		}
		p.Digits = string(text[:is.whole])
		if is.whole < countDigit {
			p.Digits += "." + string(text[is.whole:])
		}
		if bit(atStatus, signBit) {
			p.Digits = "-" + p.Digits
		}
	}
	return p, nil
}

// function is a function and range of the chip.
type function struct {
	whole  int    // digits before the decimal point
	unit   string // "" of a function that gives no number
	symbol display.Symbol
}

// functionOf returns the function and range by the codes of a picture.
func functionOf(code, at int, clamp bool) (function, error) {
	ranges, known := functions[code]
	if clamp {
		if other, has := clampFunctions[code]; has {
			ranges = other
		}
	}
	switch {
	case !known:
		return function{}, fmt.Errorf("%w: it has no function %X", ErrForm, code)
	case ranges[0].unit == "":
		return ranges[0], nil // in each of its ranges
	case at >= len(ranges):
		return function{}, fmt.Errorf("%w: its function %X has no range %d", ErrForm, code, at)
	}
	return ranges[at], nil
}

// functions are the ranges by the code of the function. Those that no run needs, and temperature, whose decimal point
// has no source here, say what they are and give no number.
var functions = map[int][]function{
	0x0: {{whole: 2, unit: "A"}},
	0x1: {{symbol: display.Diode}},
	0x2: {{symbol: "frequency"}},
	0x3: {{symbol: "resistance"}},
	0x4: {{symbol: "temperature, whose decimal point is not known"}},
	0x5: {{symbol: display.Continuity}},
	0x6: {{symbol: "capacitance"}},
	0x9: {{whole: 1, unit: "A"}, {whole: 2, unit: "A"}, {whole: 3, unit: "A"}, {whole: 4, unit: "A"}, {whole: 5, unit: "A"}},
	0xB: {{whole: 1, unit: "V"}, {whole: 2, unit: "V"}, {whole: 3, unit: "V"}, {whole: 4, unit: "V"}, {whole: 3, unit: "mV"}},
	0xD: {{whole: 3, unit: "uA"}, {whole: 4, unit: "uA"}},
	0xE: {{symbol: display.Adapter}},
	0xF: {{whole: 2, unit: "mA"}, {whole: 3, unit: "mA"}},
}

// clampFunctions replace those of the same code while VBAR is set: the µA and mA functions of a clamp meter.
var clampFunctions = map[int][]function{
	0xD: {{whole: 3, unit: "A", symbol: display.Clamp}, {whole: 4, unit: "A", symbol: display.Clamp}},
	0xF: {{whole: 2, unit: "A", symbol: display.Clamp}, {whole: 3, unit: "A", symbol: display.Clamp}},
}

// Package scpi queries instruments that speak SCPI-1999 over IEEE 488.2 and parses their responses.
//
// Numbers are SI, as such an instrument sends them. The package opens no port and has no clock: a
// Client uses a Conn, and the context bounds the wait.
package scpi

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"ohmkeep/internal/reading"
)

// What a number of a response means, beside its value (SCPI-1999, volume 1,
// 7.2.1: ±9.9E37 stands for infinity, 9.91E37 for not a number).
const (
	infinity   = 9.9e37
	notANumber = 9.91e37
	maxNumbers = 1 << 16 // more than any meter keeps of its readings
)

// Number is a number in a response.
type Number struct {
	Text    string // as sent, without blanks around it
	Value   float64
	Quality reading.Quality // Overload, of which Value has the sign; or Faulty: not a number
}

// ParseNumbers parses the numbers of a response, in the forms NR1, NR2 and NR3 of IEEE 488.2,
// separated by commas. Some instruments send blanks in place of a plus sign or leading zeros. A
// number at or beyond ±9.9E37 is not a measurement.
func ParseNumbers(response string) ([]Number, error) {
	parts := strings.SplitN(response, ",", maxNumbers+1)
	if len(parts) > maxNumbers {
		return nil, fmt.Errorf("more than %d numbers in a response", maxNumbers)
	}
	numbers := make([]Number, 0, len(parts))
	for _, part := range parts {
		n, err := parseNumber(strings.Trim(part, " \t\r\n"))
		if err != nil {
			return nil, err
		}
		numbers = append(numbers, n)
	}
	return numbers, nil
}

func parseNumber(text string) (Number, error) {
	if text == "" || strings.Trim(text, "0123456789+-.eE") != "" {
		return Number{}, fmt.Errorf("%q is not a number", shorten(text))
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil && !errors.Is(err, strconv.ErrRange) {
		return Number{}, fmt.Errorf("%q is not a number", shorten(text))
	}
	n := Number{Text: text, Value: x}
	// Instruments send the two special values with any number of digits. They differ in the third
	// digit, so the value between them separates the two.
	switch {
	case math.Abs(x) < infinity*(1-1e-9):
	case math.Abs(x) > notANumber*(1-5e-4) && math.Abs(x) < notANumber*(1+5e-4):
		n.Quality = reading.Faulty
	default:
		n.Quality = reading.Overload
	}
	return n, nil
}

// Identity is the identity that an instrument reports.
type Identity struct {
	Maker, Model, Serial, Firmware string // "" = not reported
	Text                           string // the whole response
}

// ParseIdentity parses the response to *IDN?: four fields separated by commas, where 0 stands for
// an unknown serial number or firmware (IEEE 488.2, 10.14). Responses with fewer or more fields, or
// with a repeated header, are parsed as far as possible.
func ParseIdentity(response string) (Identity, error) {
	text := strings.TrimSpace(response)
	if text == "" {
		return Identity{}, errors.New("an empty identity")
	}
	id := Identity{Text: text}
	if len(text) > 5 && strings.EqualFold(text[:5], "*IDN ") {
		text = text[5:]
	}
	fields := strings.SplitN(text, ",", 4)
	for i, target := range []*string{&id.Maker, &id.Model, &id.Serial, &id.Firmware} {
		if i < len(fields) {
			*target = strings.TrimSpace(fields[i])
		}
	}
	for _, unknown := range []*string{&id.Serial, &id.Firmware} {
		if *unknown == "0" {
			*unknown = ""
		}
	}
	return id, nil
}

// Error is an entry of an instrument's error queue.
type Error struct {
	Number int // negative: defined by the standard; positive: by the instrument
	Text   string
}

func (e Error) Error() string {
	return fmt.Sprintf("the instrument reports %d, %q", e.Number, e.Text)
}

// Class returns the kind of error by the hundreds of its number (SCPI-1999, volume 2, 21.8).
func (e Error) Class() string {
	switch {
	case e.Number == 0:
		return "no error"
	case e.Number <= -100 && e.Number > -200:
		return "command"
	case e.Number <= -200 && e.Number > -300:
		return "execution"
	case e.Number <= -300 && e.Number > -400:
		return "device"
	case e.Number <= -400 && e.Number > -500:
		return "query"
	}
	return "the instrument's own"
}

// ParseError parses the response to SYST:ERR?, <number>,"<text>"; the number 0 means that the queue
// is empty.
func ParseError(response string) (Error, error) {
	number, text, ok := strings.Cut(strings.TrimSpace(response), ",")
	n, err := strconv.ParseInt(strings.TrimSpace(number), 10, 32)
	if err != nil {
		return Error{}, fmt.Errorf("%q is not an entry of an error queue", shorten(response))
	}
	text = strings.TrimSpace(text)
	quoted := len(text) >= 2 && (text[0] == '"' || text[0] == '\'') && text[len(text)-1] == text[0]
	switch {
	case quoted:
		// A quotation mark inside the text is sent twice (IEEE 488.2, 8.7.8).
		mark := text[:1]
		text = strings.ReplaceAll(text[1:len(text)-1], mark+mark, mark)
	case ok && text != "" && n != 0: // without marks it might be a list of measured values
		return Error{}, fmt.Errorf("%q is not an entry of an error queue", shorten(response))
	}
	return Error{Number: int(n), Text: text}, nil
}

// shorten shortens a response for an error text.
func shorten(s string) string {
	if len(s) > 60 {
		return s[:60] + "…"
	}
	return s
}

// Package scpi reads the responses of instruments that speak SCPI-1999 over
// IEEE 488.2, and asks them questions.
//
// Numbers are SI, as such an instrument sends them. The package opens no port
// and has no clock: a Client speaks over a Conn, whose context bounds the wait.
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
	infinity    = 9.9e37
	notANumber  = 9.91e37
	mostNumbers = 1 << 16 // more than any meter keeps of its readings
)

// Number is one number of a response.
type Number struct {
	Text    string // as sent, without blanks around it
	Value   float64
	Quality reading.Quality // Overload, of which Value has the sign; or Faulty: not a number
}

// ParseNumbers reads the numbers of a response, in the forms NR1, NR2 and NR3 of
// IEEE 488.2, separated by commas; some instruments send blanks in place of a
// plus sign or leading zeros. No number at or beyond ±9.9E37 is a measurement.
func ParseNumbers(response string) ([]Number, error) {
	parts := strings.SplitN(response, ",", mostNumbers+1)
	if len(parts) > mostNumbers {
		return nil, fmt.Errorf("more than %d numbers in a response", mostNumbers)
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
		return Number{}, fmt.Errorf("%q is not a number", clip(text))
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil && !errors.Is(err, strconv.ErrRange) {
		return Number{}, fmt.Errorf("%q is not a number", clip(text))
	}
	n := Number{Text: text, Value: x}
	// Both special values carry as many digits as the instrument likes, and
	// differ only in the third; the middle between them parts the two.
	switch {
	case math.Abs(x) < infinity*(1-1e-9):
	case math.Abs(x) > notANumber*(1-5e-4) && math.Abs(x) < notANumber*(1+5e-4):
		n.Quality = reading.Faulty
	default:
		n.Quality = reading.Overload
	}
	return n, nil
}

// Identity is who an instrument says it is.
type Identity struct {
	Maker, Model, Serial, Firmware string // "" where it does not say
	Text                           string // the whole response
}

// ParseIdentity reads the response to *IDN?: four fields with commas between,
// where 0 stands for a serial number or firmware that is not known (IEEE 488.2,
// 10.14). Instruments that send fewer or more fields, or repeat the header, are
// taken as far as they go.
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

// Error is one entry of an instrument's error queue.
type Error struct {
	Number int // below 0 as the standard has it, above 0 the instrument's own
	Text   string
}

func (e Error) Error() string {
	return fmt.Sprintf("the instrument reports %d, %q", e.Number, e.Text)
}

// Class tells what kind of error it is, by the standard's hundreds
// (SCPI-1999, volume 2, 21.8).
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

// ParseError reads the response to SYST:ERR?, <number>,"<text>"; the number 0
// says that the queue is empty.
func ParseError(response string) (Error, error) {
	number, text, ok := strings.Cut(strings.TrimSpace(response), ",")
	n, err := strconv.ParseInt(strings.TrimSpace(number), 10, 32)
	if err != nil {
		return Error{}, fmt.Errorf("%q is not an entry of an error queue", clip(response))
	}
	text = strings.TrimSpace(text)
	quoted := len(text) >= 2 && (text[0] == '"' || text[0] == '\'') && text[len(text)-1] == text[0]
	switch {
	case quoted:
		// A quotation mark inside the text is sent twice (IEEE 488.2, 8.7.8).
		mark := text[:1]
		text = strings.ReplaceAll(text[1:len(text)-1], mark+mark, mark)
	case ok && text != "" && n != 0: // without marks it might be a list of measured values
		return Error{}, fmt.Errorf("%q is not an entry of an error queue", clip(response))
	}
	return Error{Number: int(n), Text: text}, nil
}

// clip keeps a response that is quoted in an error to a readable length.
func clip(s string) string {
	if len(s) > 60 {
		return s[:60] + "…"
	}
	return s
}

// Package board reads the lines that a sensor board prints, in the form that a
// profile gives.
//
// A line is read whole or not at all: one that the pattern does not match, or
// that holds a number that is none, gives an error and no value. Values are SI
// (°C for a temperature). The package keeps no state between lines, and knows no
// port and no clock.
package board

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Value is one value of a line.
type Value struct {
	Channel  string
	Quantity run.Quantity
	SI       float64 // V, A or °C; 0 where the value is not usable
	// Text and Unit are the value as a reading writes it: the board's own digits,
	// or for register counts the number that they stand for.
	Text, Unit string
	Raw        string // as sent
	Fault      string // why the value means nothing; "" = it is good
}

// ErrForm is inside the error of a line that the profile's pattern does not match.
var ErrForm = errors.New("not of the profile's form")

// Parse reads one line without its end. A comment gives no values and no error.
func Parse(l profile.Line, line string) ([]Value, error) {
	if l.Comment != "" && strings.HasPrefix(line, l.Comment) {
		return nil, nil
	}
	if bad := strings.IndexFunc(line, func(r rune) bool { return r == utf8.RuneError || unicode.IsControl(r) }); bad >= 0 {
		return nil, fmt.Errorf("%w: byte %d is not text", ErrForm, bad+1)
	}
	match := l.Pattern.FindStringSubmatch(line)
	if match == nil {
		return nil, ErrForm
	}
	group := func(name string) string {
		if i := l.Pattern.SubexpIndex(name); name != "" && i >= 0 {
			return match[i]
		}
		return ""
	}
	channel := "1"
	if l.Pattern.SubexpIndex(profile.GroupID) >= 0 {
		channel = group(profile.GroupID)
	}
	if complaint := group(profile.GroupFault); complaint != "" {
		return faulty(l, channel, complaint), nil
	}
	var values []Value
	for _, f := range l.Fields {
		raw := group(f.Group)
		if raw == "" {
			continue // an optional part of the pattern
		}
		v, err := read(f, raw, group(f.UnitGroup))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", f.Group, err)
		}
		v.Channel = channel
		values = append(values, v)
	}
	if len(values) == 0 {
		return nil, fmt.Errorf("%w: it holds no value", ErrForm)
	}
	return values, nil
}

// read turns one group into a value.
func read(f profile.Field, raw, sentUnit string) (Value, error) {
	if f.Counts {
		return readCounts(f, raw)
	}
	unit := f.Unit
	if f.UnitGroup != "" {
		unit = sentUnit
	}
	q, ok := profile.UnitQuantity(unit)
	if !ok {
		return Value{}, fmt.Errorf("%q is no unit that is read", unit)
	}
	si, err := reading.Value(q, raw, unit)
	if err != nil {
		var f fault.Fault
		if errors.As(err, &f) {
			f.Key = "" // the group is named already
			err = f
		}
		return Value{}, err
	}
	return Value{Quantity: q, SI: si, Text: raw, Unit: unit, Raw: raw}, nil
}

// readCounts turns the counts of a register into a value. Beyond the field's
// lowest and highest the sensor is at the end of its scale, whatever is there.
func readCounts(f profile.Field, raw string) (Value, error) {
	counts, err := strconv.ParseInt(raw, 10, 64)
	if err != nil {
		return Value{}, fmt.Errorf("%q is no whole number", raw)
	}
	v := Value{Quantity: f.Quantity, Unit: siUnit[f.Quantity], Raw: raw}
	if counts < f.Lowest || counts > f.Highest {
		v.Fault = "saturated: " + raw + " counts"
		return v, nil
	}
	// Twelve digits are more than any register holds, and drop the binary
	// rounding of the product; the value is what the text says.
	v.Text = shortest(float64(counts) * f.PerCount)
	v.SI, err = reading.Value(v.Quantity, v.Text, v.Unit)
	return v, err
}

// faulty gives the values that a board says it could not measure.
func faulty(l profile.Line, channel, complaint string) []Value {
	var values []Value
	for _, f := range l.Fields {
		q := f.Quantity
		if !f.Counts {
			of, ok := profile.UnitQuantity(f.Unit)
			if !ok {
				continue // its quantity is in the unit, which the board did not send
			}
			q = of
		}
		values = append(values, Value{Channel: channel, Quantity: q, Unit: siUnit[q], Raw: complaint,
			Fault: "the board says: " + complaint})
	}
	return values
}

// shortest writes a number with at most twelve significant digits.
func shortest(x float64) string {
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'e', 11, 64), 64)
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

var siUnit = map[run.Quantity]string{run.Voltage: "V", run.Current: "A", run.Temperature: "degC"}

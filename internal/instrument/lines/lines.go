// Package lines reads the lines that a sensor board prints, in the form that a
// profile gives.
//
// A line is read whole or not at all: one that the pattern does not match, or
// that holds a number that is none, gives an error and no value. Values are SI
// (°C for a temperature). The package keeps no state between lines, and knows no
// port and no clock.
package lines

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/instrument/register"
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
	Quality    reading.Quality
	Fault      string // why the value means nothing; "" = it is good
	Serial     string // of the sensor, where the line says it
	Scale
}

// Scale is how a value came about, so that another shunt can be applied to it.
type Scale struct {
	Counted  bool    // it is whole counts of a register
	Counts   int64   // where Counted
	PerCount float64 // SI value of one count, by that shunt
	Shunt    float64 // Ω that turned volts into the current; 0 = none is known
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
	worst := register.None
	for _, f := range l.Fields {
		raw := group(f.Group)
		if raw == "" {
			continue // an optional part of the pattern
		}
		v, trouble, err := read(f, raw, group(f.UnitGroup))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", f.Group, err)
		}
		if trouble != register.NotReady || l.AwaitReady {
			worst = max(worst, trouble)
		}
		if f.IsFlags() {
			continue
		}
		v.Channel, v.Serial = channel, group(profile.GroupSerial)
		values = append(values, v)
	}
	if len(values) == 0 {
		return nil, fmt.Errorf("%w: it holds no value", ErrForm)
	}
	for i := range values {
		values[i].spoil(worst)
	}
	return values, nil
}

// spoil takes the number off a value of which the chip's flags say that it means
// nothing. An overflow concerns what the chip reckons by itself, but whoever set
// the chip up did not expect what it sees, so that nothing of the line is taken.
func (v *Value) spoil(by register.Trouble) {
	quality := map[register.Trouble]reading.Quality{register.NotReady: reading.Unsettled, register.Overflow: reading.Saturated, register.Corrupt: reading.Faulty}[by]
	if by == register.None || v.Fault != "" {
		return
	}
	v.SI, v.Text, v.Quality, v.Fault = 0, "", quality, by.String()
}

// read turns one group into a value, and tells what a register's flags say.
func read(f profile.Field, raw, sentUnit string) (Value, register.Trouble, error) {
	if f.Register != nil {
		word, err := register.ParseWord(raw, f.Base, f.Register.Bits)
		if err != nil || f.IsFlags() {
			return Value{}, f.Register.Trouble(word), err
		}
		counts, err := f.Register.Counts(word)
		if err != nil {
			return Value{}, register.None, err
		}
		v, err := count(f, raw, counts)
		return v, f.Register.Trouble(word), err
	}
	if f.Counts {
		counts, err := strconv.ParseInt(raw, 10, 64)
		if err != nil {
			return Value{}, register.None, fmt.Errorf("%q is no whole number", raw)
		}
		v, err := count(f, raw, counts)
		return v, register.None, err
	}
	unit := f.Unit
	if f.UnitGroup != "" {
		unit = sentUnit
	}
	q, ok := profile.UnitQuantity(unit)
	if !ok {
		return Value{}, register.None, fmt.Errorf("%q is no unit that is read", unit)
	}
	si, err := reading.Value(q, raw, unit)
	if err != nil {
		var f fault.Fault
		if errors.As(err, &f) {
			f.Key = "" // the group is named already
			err = f
		}
		return Value{}, register.None, err
	}
	return Value{Quantity: q, SI: si, Text: raw, Unit: unit, Raw: raw, Scale: Scale{Shunt: f.Shunt}}, register.None, nil
}

// count turns counts into a value. Beyond the field's lowest and highest the
// sensor is at the end of its scale, whatever is there.
func count(f profile.Field, raw string, counts int64) (Value, error) {
	v := Value{Quantity: f.Quantity, Unit: reading.Unit(f.Quantity), Raw: raw,
		Scale: Scale{Counted: true, Counts: counts, PerCount: f.PerCount, Shunt: f.Shunt}}
	if counts < f.Lowest || counts > f.Highest {
		v.Quality, v.Fault = reading.Saturated, fmt.Sprintf("saturated: %d counts", counts)
		return v, nil
	}
	v.Text = reading.Digits(float64(counts) * f.PerCount)
	var err error
	v.SI, err = reading.Value(v.Quantity, v.Text, v.Unit)
	return v, err
}

// faulty gives the values that a board says it could not measure.
func faulty(l profile.Line, channel, complaint string) []Value {
	var values []Value
	for _, f := range l.Fields {
		if f.IsFlags() {
			continue
		}
		q := f.Quantity
		if !f.Counts {
			of, ok := profile.UnitQuantity(f.Unit)
			if !ok {
				continue // its quantity is in the unit, which the board did not send
			}
			q = of
		}
		values = append(values, Value{Channel: channel, Quantity: q, Unit: reading.Unit(q), Raw: complaint,
			Quality: reading.Faulty, Fault: "the board says: " + complaint})
	}
	return values
}

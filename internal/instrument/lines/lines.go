// Package lines reads the lines that a sensor board prints, in the form that a
// profile gives.
//
// A line is accepted whole or not at all. A line that the pattern does not match, or
// whose number cannot be parsed, gives an error and no value. The samples have no time.
// The package keeps no state between lines and uses no port and no clock.
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
)

// ErrForm is wrapped by the error of a line that the profile's pattern does not match.
var ErrForm = errors.New("not of the profile's form")

// Parse reads one line without its end. A comment gives no values and no error.
func Parse(l profile.Line, line string) ([]reading.Sample, error) {
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
		return faultySamples(l, channel, complaint), nil
	}
	var values []reading.Sample
	worst := register.None
	for _, f := range l.Fields {
		raw := group(f.Group)
		if raw == "" {
			continue // an optional part of the pattern
		}
		v, trouble, err := readField(f, raw, group(f.UnitGroup))
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
	if worst != register.None {
		for i := range values {
			if values[i].Good() {
				values[i].SetFault(troubleQualities[worst], worst.String())
			}
		}
	}
	return values, nil
}

// troubleQualities are the marks that a chip's flags set against every value of their line. An
// overflow concerns what the chip computes by itself, but its configuration does not fit
// what it measures, so that nothing of the line is taken.
var troubleQualities = map[register.Trouble]reading.Quality{register.NotReady: reading.Unsettled, register.Overflow: reading.Saturated,
	register.Corrupt: reading.Faulty}

// readField converts one group to a sample, and returns the trouble that a register's flags report.
func readField(f profile.Field, raw, sentUnit string) (reading.Sample, register.Trouble, error) {
	if f.Register != nil {
		word, err := register.ParseWord(raw, f.Base, f.Register.Bits)
		if err != nil || f.IsFlags() {
			return reading.Sample{}, f.Register.Trouble(word), err
		}
		counts, err := f.Register.Counts(word)
		if err != nil {
			return reading.Sample{}, register.None, err
		}
		v, err := scaleCounts(f, raw, counts)
		return v, f.Register.Trouble(word), err
	}
	if f.Counts {
		counts, err := strconv.ParseInt(raw, 10, 64)
		if err != nil {
			return reading.Sample{}, register.None, fmt.Errorf("%q is not a whole number", raw)
		}
		v, err := scaleCounts(f, raw, counts)
		return v, register.None, err
	}
	unit := f.Unit
	if f.UnitGroup != "" {
		unit = sentUnit
	}
	q, ok := profile.UnitQuantity(unit)
	if !ok {
		return reading.Sample{}, register.None, fmt.Errorf("%q is not a known unit", unit)
	}
	si, err := reading.Value(q, raw, unit)
	if err != nil {
		var f fault.Fault
		if errors.As(err, &f) {
			f.Key = "" // the group is named already
			err = f
		}
		return reading.Sample{}, register.None, err
	}
	return reading.Sample{Reading: reading.Reading{Quantity: q, Value: si, Text: raw, Unit: unit}, Raw: raw, Shunt: f.Shunt}, register.None, nil
}

// scaleCounts converts counts to a sample in SI units. Counts below the field's Lowest or above its
// Highest have the quality Saturated.
func scaleCounts(f profile.Field, raw string, counts int64) (reading.Sample, error) {
	v := reading.Sample{Reading: reading.Reading{Quantity: f.Quantity, Unit: reading.Unit(f.Quantity),
		Counts: reading.Counts{N: counts, PerCount: f.PerCount}}, Raw: raw, Shunt: f.Shunt}
	if counts < f.Lowest || counts > f.Highest {
		v.SetFault(reading.Saturated, fmt.Sprintf("saturated: %d counts", counts))
		return v, nil
	}
	v.Text = reading.Digits(v.Counts.Value())
	var err error
	v.Value, err = reading.Value(v.Quantity, v.Text, v.Unit)
	return v, err
}

// faultySamples returns a sample for each value that a board reports it could not measure.
func faultySamples(l profile.Line, channel, complaint string) []reading.Sample {
	var values []reading.Sample
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
		values = append(values, reading.Sample{Reading: reading.Reading{Quantity: q, Unit: reading.Unit(q), Quality: reading.Faulty},
			Channel: channel, Raw: complaint, Fault: "the board says: " + complaint})
	}
	return values
}

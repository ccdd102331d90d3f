// Package display holds what a handheld meter's display shows: digits, unit, and the symbols that say
// how it was measured.
//
// A value counts only where the display shows a DC voltage, a DC current or a temperature in °C and no symbol
// that makes it something else: AC, hold, relative, a diode test, a low battery and the like. The digits are kept
// as they are shown, leading zeros included.
package display

import (
	"slices"
	"strings"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Picture is one picture of a display.
type Picture struct {
	Digits   string // with sign and decimal point; "" where the display shows no number
	Overload bool   // the display shows OL
	Unit     string // with its prefix, such as "mV"; "" where the display shows none
	Symbols  []Symbol
}

// Symbol is a symbol of a display, or a function of the meter that its unit does not tell.
type Symbol string

// The symbols that are shown beside a plain value.
const (
	DC   Symbol = "DC"
	Auto Symbol = "auto"
)

// The symbols that say that a value is not the one at the leads now, not DC, or not to be trusted.
const (
	AC          Symbol = "AC"
	Hold        Symbol = "hold"
	Relative    Symbol = "relative"
	Maximum     Symbol = "maximum"
	Minimum     Symbol = "minimum"
	PeakMaximum Symbol = "peak maximum"
	PeakMinimum Symbol = "peak minimum"
	Diode       Symbol = "diode"
	Continuity  Symbol = "continuity"
	LowBattery  Symbol = "low battery"
	LowPass     Symbol = "low-pass filter"
	Underload   Symbol = "underload"
	Adapter     Symbol = "adapter"
	Hertz       Symbol = "frequency of the voltage or current"
	RMS         Symbol = "RMS"
	Judge       Symbol = "judge"
	Clamp       Symbol = "clamp"
)

// plain are the symbols beside which a value counts.
var plain = map[Symbol]bool{DC: true, Auto: true, Clamp: true}

// Quantity returns the quantity that the display shows; ok is false where it is no voltage, current or
// temperature in °C.
func (p Picture) Quantity() (q run.Quantity, ok bool) {
	for q := range run.Quantity(len(run.QuantityNames)) {
		for _, unit := range reading.Units(q) {
			if unit == p.Unit {
				return q, true
			}
		}
	}
	return 0, false
}

// String returns the picture in words, such as "-04.81 mV, AC, hold".
func (p Picture) String() string {
	text := p.Digits
	switch {
	case p.Overload:
		text = "OL"
	case text == "":
		text = "no number"
	}
	if p.Unit != "" {
		text += " " + p.Unit
	}
	for _, s := range p.Symbols {
		text += ", " + string(s)
	}
	return text
}

// faults returns why the shown value of a quantity does not count; "" if it does.
func (p Picture) faults(q run.Quantity) string {
	var list []string
	for _, s := range p.Symbols {
		if !plain[s] {
			list = append(list, string(s))
		}
	}
	if len(list) == 0 && q != run.Temperature && !slices.Contains(p.Symbols, DC) {
		list = append(list, "neither DC nor AC")
	}
	return strings.Join(list, ", ")
}

// Sample returns what a channel of a quantity gets of the picture: its value, or a mark and the reason. It
// has no time and no channel.
func (p Picture) Sample(q run.Quantity) reading.Sample {
	s := reading.Sample{Reading: reading.Reading{Quantity: q, Text: p.Digits, Unit: p.Unit}, Raw: p.String()}
	shown, known := p.Quantity()
	why := p.faults(shown)
	switch {
	case !known || shown != q:
		s.Unit = reading.Unit(q)
		s.SetFault(reading.Faulty, "the display shows no "+q.String()+" but "+p.String())
	case p.Overload:
		s.SetFault(reading.Overload, "overload")
		if why != "" {
			s.SetFault(reading.Faulty, "overload, and the display shows: "+why)
		}
	case why != "":
		s.SetFault(reading.Faulty, "the display shows: "+why)
	case p.Digits == "":
		s.SetFault(reading.Faulty, "the display shows no number")
	default:
		var err error
		if s.Value, err = reading.Value(q, p.Digits, p.Unit); err != nil {
			s.SetFault(reading.Faulty, err.Error())
		}
	}
	return s
}

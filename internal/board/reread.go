package board

import (
	"fmt"

	"ohmkeep/internal/profile"
	"ohmkeep/internal/run"
)

// Reread reads the raw text of one value again, as it was kept from a line of that
// form: for a reading of years ago whose shunt turned out otherwise. unit is the
// one that stands beside the raw text, where the form has the board send it; shunt
// is the right resistance in Ω, 0 for the profile's own. What flags said beside the
// value is not known here: it is for readings that were good.
func Reread(l profile.Line, q run.Quantity, raw, unit string, shunt float64) (Value, error) {
	for _, f := range l.Fields {
		of, known := f.Quantity, true
		switch {
		case f.Counts:
		case f.UnitGroup != "":
			of, known = profile.UnitQuantity(unit)
		default:
			of, known = profile.UnitQuantity(f.Unit)
		}
		if f.IsFlags() || !known || of != q {
			continue
		}
		v, _, err := read(f, raw, unit)
		if err != nil || shunt == 0 {
			return v, err
		}
		return v.WithShunt(shunt)
	}
	return Value{}, fmt.Errorf("the form has no %s", q)
}

// WithShunt gives the value that another shunt makes of the same indication; a
// value that is not good stays as it is.
func (v Value) WithShunt(ohms float64) (Value, error) {
	if v.Fault != "" || ohms == v.Shunt && ohms > 0 {
		return v, nil // the digits stay as they were sent
	}
	text, si, scale, err := v.Scale.Apply(v.SI, ohms)
	if err != nil {
		return v, fmt.Errorf("channel %q, %s: %w", v.Channel, v.Quantity, err)
	}
	v.Text, v.SI, v.Scale, v.Unit = text, si, scale, siUnit[v.Quantity]
	return v, nil
}

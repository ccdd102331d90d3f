package openmetrics

import (
	"strconv"
	"strings"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// notation is how a number and its time are written, beyond what base units and UTC show.
type notation struct {
	exponent string // of a number in a unit with a prefix, as written
	offset   int    // from UTC, s
	repeats  int    // how many readings of the same moment stand before
}

// notationOf returns how a reading is written, and its number in the base unit.
func notationOf(x *reading.Reading) (notation, string) {
	_, offset := x.Time.Zone()
	m := notation{offset: offset}
	shift := prefix(x.Quantity, x.Unit)
	if shift == 0 {
		return m, x.Text
	}
	mantissa, exponent := x.Text, 0
	if i := strings.IndexAny(x.Text, "eE"); i >= 0 {
		mantissa, m.exponent = x.Text[:i], x.Text[i:]
		exponent, _ = strconv.Atoi(m.exponent[1:]) // of a number that was checked
	}
	return m, mantissa + "e" + strconv.Itoa(exponent-shift)
}

// asWritten returns a number in the base unit back as it was written in another.
func asWritten(value, exponent string, shift int) (string, bool) {
	if shift == 0 {
		return value, exponent == ""
	}
	mantissa, have, found := strings.Cut(value, "e")
	was := 0
	if exponent != "" {
		var err error
		if was, err = strconv.Atoi(exponent[1:]); err != nil {
			return "", false
		}
	}
	return mantissa + exponent, found && have == strconv.Itoa(was-shift)
}

// prefix returns the power of ten by which a unit is smaller than its base unit.
func prefix(q run.Quantity, unit string) int {
	switch per, _ := reading.PerSI(q, unit); per {
	case 1e3:
		return 3
	case 1e6:
		return 6
	}
	return 0
}

// offsetText writes an offset from UTC as RFC 3339 does; "" is UTC.
func offsetText(seconds int) string {
	if seconds == 0 {
		return ""
	}
	return time.Unix(0, 0).In(time.FixedZone("", seconds)).Format("-07:00")
}

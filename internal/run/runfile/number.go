package runfile

import (
	"fmt"
	"strconv"

	"ohmkeep/internal/run/toml"
)

// span is the range of a number in the file's unit.
type span struct {
	low, high float64
	above     bool // low itself is not allowed
	unit      string
}

// mostPixels is the largest number of pixels of a reel, and of a run.
const mostPixels = 1_000_000

// The ranges are wider than any real run needs, and narrow enough to catch a wrong unit or a
// wrong decimal point.
var (
	volts        = span{0, 60, true, " V"} // extra-low voltage
	amps         = span{0, 1000, true, " A"}
	milliamps    = span{0, 10_000, true, " mA"}
	idleCurrent  = span{0, 1000, false, " mA"}
	milliohms    = span{0, 1e6, false, " mΩ"}
	ohms         = span{0, 1e6, true, " Ω"}
	limit        = span{0, 1e6, true, " mΩ"}
	metres       = span{0, 10_000, false, " m"}
	reelMetres   = span{0, 10_000, true, " m"}
	density      = span{0, 10_000, true, " pixels per metre"}
	pixelCount   = span{1, mostPixels, false, ""}
	level        = span{0, 1, false, ""}
	ambient      = span{-40, 90, false, " °C"}
	percent      = span{0, 100, false, " %"}
	limitPercent = span{0, 1000, true, " %"}
	shift        = span{0, 1, true, " in CIE 1976 u'v'"}
	positive     = span{0, 1e9, true, ""}
	counts       = span{0, 1e6, false, ""}
	meterGain    = span{0.5, 2, false, ""}
	meterOffset  = span{-1000, 1000, false, ""} // V, A or °C
	shown        = span{1, 43_200, false, " s"}
	settling     = span{0, 3600, false, " s"}
	between      = span{0.05, 86_400, false, " s"}
)

func (s span) holds(x float64) bool { return x <= s.high && (x > s.low || x == s.low && !s.above) }

func (s span) String() string {
	low, high := formatPlain(s.low), formatPlain(s.high)
	if s.above {
		return fmt.Sprintf("more than %s, up to %s%s", low, high, s.unit)
	}
	return fmt.Sprintf("%s to %s%s", low, high, s.unit)
}

// formatPlain formats a number without an exponent.
func formatPlain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// readNumber reads a number and checks its range; ok is false if it is missing or wrong.
func readNumber(t *toml.Table, key string, s span) (x float64, ok bool) {
	x, ok = t.Number(key)
	return x, ok && checkSpan(t, key, x, s)
}

// checkSpan reports whether a number is in its span, and adds a fault otherwise.
func checkSpan(t *toml.Table, key string, x float64, s span) bool {
	if s.holds(x) {
		return true
	}
	t.Fault(key, fmt.Sprintf("%g is out of range", x), s.String())
	return false
}

// readNumberOr reads an optional number.
func readNumberOr(t *toml.Table, key string, fallback float64, s span) float64 {
	if x, ok := readNumber(t, key, s); ok {
		return x
	}
	return fallback
}

// requireNumber reads a required number.
func requireNumber(t *toml.Table, key string, s span, hint string) float64 {
	if !t.Has(key) {
		t.Missing(key, hint)
	}
	return readNumberOr(t, key, 0, s)
}

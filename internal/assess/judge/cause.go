package judge

import (
	"fmt"
	"math"
	"strings"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/run"
)

// contactCause begins the text of a bad contact as a cause.
const contactCause = "a bad contact of some "

// maxWireRatio is how far the resistance of a cable may exceed its stated value through a wrong
// size or length; above it a bad contact is more likely (common practice, no source).
const maxWireRatio = 2.5

// possibleCauses lists what may cause the high resistance of feed i: a thinner size, more length,
// a bad contact. Wire has the same resistance in both conductors and a bad contact is in one, so
// that readings that tell the conductors apart leave one of these.
func (j *judgement) possibleCauses(i int, ohms float64) string {
	f := j.run.Feeds[j.est.Elements[i].Index]
	wire := f.WireOhms
	if wire == 0 {
		wire = f.Ohms
	}
	if wire == 0 {
		return ""
	}
	excess := ohms - wire
	rail, even := j.higherRail(i, excess/3)
	if rail != run.Loop {
		return fmt.Sprintf("%s%s in its %s", contactCause, milli(excess), rail)
	}
	parts := wireCauses(f, ohms)
	switch contact := contactCause + milli(excess); {
	case even:
	case ohms > maxWireRatio*wire:
		parts = append([]string{contact}, parts...)
	default:
		parts = append(parts, contact)
	}
	return strings.Join(parts, ", or ")
}

// wireCauses names the size and the length with a given resistance.
func wireCauses(f run.Feed, ohms float64) (parts []string) {
	if size := f.Like(ohms); size != "" && size != f.Conductor {
		parts = append(parts, size)
	}
	if f.WireOhms <= 0 {
		return parts
	}
	times := ohms / f.WireOhms
	if math.Abs(times-2) < 0.15 {
		return append(parts, "twice the length")
	}
	return append(parts, fmt.Sprintf("%.1f times the length", times))
}

// higherRail returns the conductor of element i whose resistance exceeds the other's by at least
// ohms within the 95 % intervals; Loop if there is none. even reports that neither exceeds the other
// by as much.
func (j *judgement) higherRail(i int, ohms float64) (rail run.Rail, even bool) {
	if i+2 >= len(j.est.Elements) {
		return run.Loop, false
	}
	plus, minus := &j.est.Elements[i+1], &j.est.Elements[i+2]
	if !plus.RailKnown || !minus.RailKnown || plus.Rail != run.Plus || minus.Rail != run.Minus {
		return run.Loop, false
	}
	ends := func(e *estimate.Element) (low, high float64) {
		low, high = e.Belief.Interval(coverage)
		return e.Ohms(low), e.Ohms(high)
	}
	plusLow, plusHigh := ends(plus)
	minusLow, minusHigh := ends(minus)
	switch {
	case plusLow-minusHigh > ohms:
		return run.Plus, false
	case minusLow-plusHigh > ohms:
		return run.Minus, false
	}
	return run.Loop, plusHigh-minusLow < ohms && minusHigh-plusLow < ohms
}

// feedRemedy returns what to do about the possible causes of a feed's high resistance.
func feedRemedy(like string) string {
	switch {
	case strings.HasPrefix(like, contactCause) && !strings.Contains(like, ", or "):
		return " Disconnect the supply, then clean and tighten its connectors, fuse holder and splices."
	case strings.Contains(like, contactCause) || like == "":
		return " Check its connectors and fuse, then use thicker or shorter wire."
	}
	return " Use thicker or shorter wire."
}

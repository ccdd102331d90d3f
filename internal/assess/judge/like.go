package judge

import (
	"fmt"
	"math"
	"strings"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/run"
)

// aContact is how what is like a bad contact begins.
const aContact = "a bad contact of some "

// mostMistaken is how many times as stated a cable may have by its size or length; what has
// more is a contact more likely (common practice, no source).
const mostMistaken = 2.5

// like names what feed i of the estimate's elements, with too much resistance, behaves like: a
// thinner size, a length, a bad contact. Wire has as much in both conductors and a contact is
// in one, so that where the readings tell the conductors apart only one of these is left.
func (j *judged) like(i int, ohms float64) string {
	f := j.run.Feeds[j.est.Elements[i].Index]
	wire := f.WireOhms
	if wire == 0 {
		wire = f.Ohms
	}
	if wire == 0 {
		return ""
	}
	excess := ohms - wire
	rail, even := j.leans(i, excess/3)
	if rail != run.Loop {
		return fmt.Sprintf("%s%s in its %s", aContact, milli(excess), rail)
	}
	parts := wireLike(f, ohms)
	switch contact := aContact + milli(excess); {
	case even:
	case ohms > mostMistaken*wire:
		parts = append([]string{contact}, parts...)
	default:
		parts = append(parts, contact)
	}
	return strings.Join(parts, ", or ")
}

// wireLike names the size and the length that have so much resistance.
func wireLike(f run.Feed, ohms float64) (parts []string) {
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

// leans returns which conductor of element i has more ohms than the other by at least ohms,
// Loop where neither has for certain; even reports that neither has.
func (j *judged) leans(i int, ohms float64) (rail run.Rail, even bool) {
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

// remedyFor says what to do about what a feed is like.
func remedyFor(like string) string {
	switch {
	case strings.HasPrefix(like, aContact) && !strings.Contains(like, ", or "):
		return " Disconnect the supply, then clean and tighten its connectors, fuse holder and splices."
	case strings.Contains(like, aContact) || like == "":
		return " Check its connectors and fuse, then use thicker or shorter wire."
	}
	return " Use thicker or shorter wire."
}

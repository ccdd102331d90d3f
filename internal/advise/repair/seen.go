package repair

import (
	"math"

	"ohmkeep/internal/advise/interval"
	"ohmkeep/internal/network/limits"
	"ohmkeep/internal/run"
)

// asSeen replaces the intervals of the light of a run as wired by those of package colourloss for
// the same pixel, so that a value has the same interval in every output. At another level than that of
// the given step it does nothing.
func (k Basis) asSeen(e *Effect) {
	if k.seen == nil || e.Level != k.seenLevel {
		return
	}
	here := func(reel string, pixel int) bool {
		at := k.seen.Place
		return at.Kind == run.AtReel && k.Run.Reels[at.Index].Name == reel && at.Pixel == pixel
	}
	take := func(to *interval.Interval, c limits.Criterion, from interval.Interval) {
		u := e.State.Utilisations[c]
		if !here(u.Subject, u.Pixel) {
			return
		}
		*to = from
		u.Value = from.High
		e.Utilisation.High = math.Max(e.Utilisation.High, u.Ratio())
	}
	take(&e.Shift, limits.Colour, k.seen.Shift)
	take(&e.Dimming, limits.Brightness, k.seen.Dimming)
	if here(e.State.Reel, e.State.Pixel) {
		e.LeastVolts = k.seen.Volts
	}
}

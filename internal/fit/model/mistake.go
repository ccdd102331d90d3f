package model

import (
	"maps"
	"math"
	"slices"

	"ohmkeep/internal/run"
)

// MistakeKind is a mistake in taking readings that affects several of them.
type MistakeKind int

const (
	FeedsSwapped   MistakeKind = iota // the currents of feeds A and B are exchanged
	LeadsReversed                     // all voltages of step A have the wrong sign
	WrongLoad                         // step A was read while step B of the run was lit
	StepsExchanged                    // steps A and B were each read while the other one was lit
	DisplayHeld                       // the readings of repetition A were not taken: the display held its value
	RangeKept                         // the readings of range A were displayed in the next larger one
	SwappedInStep                     // the currents of feeds A and B are exchanged in one step only
	PlaceMisread                      // the pair voltages of reel A's start or end were read at its other end
)

// Mistake is an operator mistake in taking readings. For FeedsSwapped and SwappedInStep A and B are
// indices of feeds in the run, Step an index in Model.Steps. For DisplayHeld A is an
// Observation.Repetition, for RangeKept an index into Model.MeterRanges. For PlaceMisread A is the index
// of a reel and B the pixel at that end of it whose voltages were read at the other. Otherwise they are
// indices of steps in Model.Steps, except B of WrongLoad, which is the index of a step in the run.
type Mistake struct {
	Kind MistakeKind
	A, B int
	Step int // of SwappedInStep
}

// Affects reports whether a mistake changes an observation.
func (s Mistake) Affects(o *Observation) bool {
	switch s.Kind {
	case FeedsSwapped, SwappedInStep:
		return o.Feed != Absent && (o.Feed == s.A || o.Feed == s.B) && (s.Kind == FeedsSwapped || o.Step == s.Step)
	case LeadsReversed:
		return o.Feed == Absent && o.Step == s.A
	case StepsExchanged:
		return o.Step == s.A || o.Step == s.B
	case DisplayHeld:
		return o.Repetition == s.A
	case RangeKept:
		return o.SmallestRange == s.A
	case PlaceMisread:
		return o.Feed == Absent && o.From.Place == o.To.Place && o.From.Place == s.Place()
	}
	return o.Step == s.A
}

// OfSteps reports whether a mistake affects all readings of one or two steps, and no other.
func (s Mistake) OfSteps() bool {
	return s.Kind == LeadsReversed || s.Kind == WrongLoad || s.Kind == StepsExchanged
}

// Place returns the place of a PlaceMisread.
func (s Mistake) Place() run.Place { return run.Place{Kind: run.AtReel, Index: s.A, Pixel: s.B} }

// Discards reports whether the values that a mistake affects are unknown, so that they are excluded.
func (s Mistake) Discards() bool { return s.Kind == DisplayHeld }

// RightValues reports whether the values that a mistake affects are right: only what is known of their
// errors changes.
func (s Mistake) RightValues() bool { return s.Kind == RangeKept }

// correct changes an observation to what it should be if a mistake was made, and excludes it where
// that is unknown.
func (m *Model) correct(s Mistake, o *Observation) {
	if !s.Affects(o) {
		return
	}
	switch s.Kind {
	case FeedsSwapped, SwappedInStep:
		o.Feed = s.A + s.B - o.Feed
	case LeadsReversed:
		o.Value = -o.Value
	case DisplayHeld:
		o.Excluded, o.ExcludedForGood = true, true
	case PlaceMisread:
		ends := [2]int{1, m.Run.Reels[s.A].Pixels}
		o.From.Place.Pixel = ends[0] + ends[1] - s.B
		o.To.Place = o.From.Place
	case RangeKept:
		o.MeterRange, o.Group = m.coarser[s.A].meterRange, m.coarser[s.A].group
	}
}

// PossibleMistakes lists the further mistakes that the readings allow: an exchange of any two feeds with
// current readings, in all steps or in one with readings of both, reversed leads in any step in which
// most pair voltages are negative, a display that held its value in any repetition, a range that was kept
// where the digits allow it, either end of a reel read at the other where both read alike, any other load
// in any step with readings, and an exchange of any two such steps.
func (m *Model) PossibleMistakes(a Assumptions) (list []Mistake) {
	observations, lit := m.Under(a), m.LitSteps(a)
	clamped := map[int]map[int]bool{} // by feed: the steps with current readings
	pairs, negative := make([]int, m.ReadSteps), make([]int, m.ReadSteps)
	for i := range observations {
		o := &observations[i]
		if o.Feed != Absent {
			if clamped[o.Feed] == nil {
				clamped[o.Feed] = map[int]bool{}
			}
			clamped[o.Feed][o.Step] = true
			continue
		}
		if o.From.Place == o.To.Place {
			pairs[o.Step]++
			if (o.Value < 0) == (o.From.Rail == run.Plus) {
				negative[o.Step]++
			}
		}
	}
	for k := range m.ReadSteps {
		if pairs[k] >= minReversedPairs && 2*negative[k] > pairs[k] {
			list = append(list, Mistake{Kind: LeadsReversed, A: k})
		}
	}
	for f := range m.Run.Feeds {
		for g := range f {
			if clamped[f] == nil || clamped[g] == nil {
				continue
			}
			list = append(list, Mistake{Kind: FeedsSwapped, A: f, B: g})
			for k := range m.ReadSteps {
				if clamped[f][k] && clamped[g][k] {
					list = append(list, Mistake{Kind: SwappedInStep, A: f, B: g, Step: k})
				}
			}
		}
	}
	for x := range m.repetitions {
		if held := (Mistake{Kind: DisplayHeld, A: x + 1}); !slices.Contains(a.Mistakes, held) {
			list = append(list, held)
		}
	}
	for _, at := range slices.Sorted(maps.Keys(m.coarser)) {
		if kept := (Mistake{Kind: RangeKept, A: at}); !slices.Contains(a.Mistakes, kept) {
			list = append(list, kept)
		}
	}
	for i, reel := range m.Run.Reels {
		start, end := Mistake{Kind: PlaceMisread, A: i, B: 1}, Mistake{Kind: PlaceMisread, A: i, B: reel.Pixels}
		if reel.Pixels > 1 && readAlike(observations, start, end) {
			list = append(list, start, end)
		}
	}
	for k := range m.ReadSteps {
		for b := range m.Run.Steps {
			if b != lit[k] {
				list = append(list, Mistake{Kind: WrongLoad, A: k, B: b})
			}
		}
		for b := range k {
			if lit[k] == m.Steps[k] && lit[b] == m.Steps[b] {
				list = append(list, Mistake{Kind: StepsExchanged, A: k, B: b})
			}
		}
	}
	return list
}

// readAlike reports whether the readings of two places agree within their noise in every step in which
// both were read, and there are such steps.
func readAlike(observations []Observation, a, b Mistake) bool {
	pairs := 0
	for i := range observations {
		x := &observations[i]
		if !a.Affects(x) {
			continue
		}
		for k := range observations {
			y := &observations[k]
			if x.Step != y.Step || !b.Affects(y) {
				continue
			}
			if pairs++; math.Abs(x.Value-y.Value) > alikeSigmas*math.Hypot(x.Deviation, y.Deviation) {
				return false
			}
		}
	}
	return pairs > 0
}

// alikeSigmas is the largest difference of two readings of one value, in standard deviations.
const alikeSigmas = 4.0

// minReversedPairs is the least number of pair voltages in a step for which reversed leads are
// considered.
const minReversedPairs = 2

package model

import (
	"maps"
	"math"
	"slices"

	"ohmkeep/internal/fit/likelihood"
	"ohmkeep/internal/fit/prior"
)

// Assumptions are what a fit supposes besides its model. A value is never changed: each method
// returns another one. The zero value is not usable; see Model.Assume.
type Assumptions struct {
	Excluded        []bool               // by observation: not in the fit
	ExcludedForGood []bool               // by observation: excluded, and the search may not readmit it
	Noise           []likelihood.Learned // by noise group
	Held            map[int]float64      // by unknown: the value at which it is held; MaxTransformed for an open conductor
	Mistakes        []Mistake            // operator mistakes, which are corrected
	DarkReel        int                  // index of a reel that stays dark in every step; Absent for none
	OtherStock      int                  // index of a reel whose copper is not as stated; Absent for none
	NoFoilPrior     []bool               // by foil prior: left out
	Robust          bool                 // residuals get the Cauchy loss
	held            *heldResistance      // nil for none
}

// Assume returns the assumptions before any search: every reading that a range of its meter holds
// is right, its noise is that of the priors, and no conductor is open.
func (m *Model) Assume() Assumptions {
	a := Assumptions{DarkReel: Absent, OtherStock: Absent, Noise: m.PriorNoise(), Excluded: make([]bool, len(m.Observations)),
		ExcludedForGood: make([]bool, len(m.Observations)), NoFoilPrior: make([]bool, len(m.FoilPriors))}
	for i, o := range m.Observations {
		a.Excluded[i], a.ExcludedForGood[i] = o.ExcludedForGood, o.ExcludedForGood
	}
	return a
}

// ExcludingOnly excludes the given observations, besides those excluded for good, and no others;
// nil excludes no others.
func (a Assumptions) ExcludingOnly(out []bool) Assumptions {
	a.Excluded = slices.Clone(a.ExcludedForGood)
	for i := range out {
		a.Excluded[i] = a.Excluded[i] || out[i]
	}
	return a
}

// Excluding excludes one more observation.
func (a Assumptions) Excluding(i int) Assumptions {
	a.Excluded = slices.Clone(a.Excluded)
	a.Excluded[i] = true
	return a
}

// ExcludingForGood excludes further observations, which the search may not readmit.
func (a Assumptions) ExcludingForGood(out []bool) Assumptions {
	a.Excluded, a.ExcludedForGood = slices.Clone(a.Excluded), slices.Clone(a.ExcludedForGood)
	for i, x := range out {
		a.Excluded[i], a.ExcludedForGood[i] = a.Excluded[i] || x, a.ExcludedForGood[i] || x
	}
	return a
}

// ExcludedCount returns the number of observations excluded by the search.
func (a Assumptions) ExcludedCount() int {
	n := 0
	for i, out := range a.Excluded {
		if out && !a.ExcludedForGood[i] {
			n++
		}
	}
	return n
}

// Holding holds an unknown at a value.
func (a Assumptions) Holding(unknown int, value float64) Assumptions {
	held := map[int]float64{unknown: value}
	for i, v := range a.Held {
		if i != unknown {
			held[i] = v
		}
	}
	a.Held = held
	return a
}

// HoldingOpen holds a conductor open.
func (a Assumptions) HoldingOpen(unknown int) Assumptions {
	return a.Holding(unknown, prior.MaxTransformed)
}

// Releasing no longer holds an unknown.
func (a Assumptions) Releasing(unknown int) Assumptions {
	a.Held = maps.Clone(a.Held)
	delete(a.Held, unknown)
	return a
}

// Correcting corrects one more operator mistake.
func (a Assumptions) Correcting(x Mistake) Assumptions {
	a.Mistakes = append(slices.Clip(a.Mistakes), x)
	return a
}

// WithoutFoilPrior leaves out the foil prior of that index.
func (a Assumptions) WithoutFoilPrior(i int) Assumptions {
	a.NoFoilPrior = slices.Clone(a.NoFoilPrior)
	a.NoFoilPrior[i] = true
	return a
}

// FromOtherStock has a reel from another production batch: neither its copper nor the division
// between its rails is like that of the other reels of its strip type, or as stated.
func (a Assumptions) FromOtherStock(m *Model, reel int) Assumptions {
	a.OtherStock = reel
	for i, f := range m.FoilPriors {
		if f.Reel == reel {
			a = a.WithoutFoilPrior(i)
		}
	}
	return a
}

// SplitUnder returns the prior of an element's division between its rails, by its index.
func (m *Model) SplitUnder(a Assumptions, i int) prior.Split {
	s := m.Splits[i]
	if a.OtherStock != Absent && i == m.splitOfReel(a.OtherStock) {
		s.ShareAbout, s.Spread = prior.EvenShare, prior.ReelSplitSpread
	}
	return s
}

// splitDisabled reports whether an element's split has no meaning: one of its rails is held.
func (a Assumptions) splitDisabled(s *prior.Split) bool {
	_, plus := a.Held[s.Rails[0]]
	_, minus := a.Held[s.Rails[1]]
	return plus || minus
}

// Under returns the observations as the assumptions take them: corrected, with the standard
// deviation of their noise, and marked where they are excluded.
func (m *Model) Under(a Assumptions) []Observation {
	list := slices.Clone(m.Observations)
	for i := range list {
		o := &list[i]
		if i < len(a.Excluded) { // else one that was added to the model later
			o.Excluded, o.ExcludedForGood = a.Excluded[i], a.ExcludedForGood[i]
		}
		for _, x := range a.Mistakes {
			m.correct(x, o)
		}
		if o.Group != Absent {
			o.Deviation = math.Sqrt(a.Noise[o.Group].Variance(o.RoundingVariance, o.Value))
		}
	}
	return list
}

// LitSteps returns by step the run's step whose load was lit: another one after a mistake.
func (m *Model) LitSteps(a Assumptions) []int {
	lit := slices.Clone(m.Steps)
	for _, x := range a.Mistakes {
		switch x.Kind {
		case WrongLoad:
			lit[x.A] = x.B
		case StepsExchanged:
			lit[x.A], lit[x.B] = m.Steps[x.B], m.Steps[x.A]
		}
	}
	return lit
}

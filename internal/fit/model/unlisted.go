package model

import (
	"math"
	"slices"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/run"
)

// Standard deviations of the current that something unlisted draws or feeds at one place, as a part
// of the stated current of all pixels in the step (common practice, no source): a feed carries about a
// third of it, in all steps nearly the same part.
const (
	unlistedShareSpread     = 0.3
	unlistedStepShareSpread = 0.02
)

// WithUnlistedAt returns a model like m in which something that the run file does not list draws or
// feeds current at a reel: a feed, a wire to another place, a load, pixels that stay dark. It
// has unknown currents at the reel's ends and its middle. What such a thing has inside does not matter:
// the rest of the run depends on these currents alone. Assumptions of m on its readings hold for it too.
func (m *Model) WithUnlistedAt(reel int) (*Model, error) {
	w := *m
	w.unlistedReel, w.unlisted = reel, nil
	last := m.Run.Reels[reel].Pixels
	middle := run.Place{Kind: run.AtReel, Index: reel, Pixel: (1 + last) / 2}
	for _, pixel := range slices.Compact([]int{1, middle.Pixel, last}) {
		at := run.Place{Kind: run.AtReel, Index: reel, Pixel: pixel}
		w.unlisted = append(w.unlisted, ladder.Drain{From: run.Point{Place: at, Rail: run.Plus}, To: run.Point{Place: at, Rail: run.Minus}})
	}
	if len(m.Run.Supplies) > 1 { // else its two conductors carry about the same current
		w.unlisted = append(w.unlisted, ladder.Drain{From: run.Point{Place: middle, Rail: run.Minus}, To: run.Point{Place: m.firstSupply(), Rail: run.Minus}})
	}
	if err := w.layNetwork(m.places); err != nil {
		return nil, err
	}
	w.Unknowns, w.Joints, w.Feeds, w.Reels, w.Splits, w.FoilPriors, w.Supplies = nil, nil, nil, nil, nil, nil, nil
	w.MeterRanges = slices.Clone(m.MeterRanges)
	w.addUnknowns()
	return &w, nil
}

// UnlistedAt returns the reel at which something unlisted draws or feeds current; Absent for none.
func (m *Model) UnlistedAt() int {
	if m.unlisted == nil {
		return Absent
	}
	return m.unlistedReel
}

// firstSupply returns the place of a supply that feeds the run.
func (m *Model) firstSupply() run.Place {
	at := slices.IndexFunc(m.Run.Feeds, func(f run.Feed) bool { return f.From.Kind == run.AtSupply })
	return m.Run.Feeds[at].From
}

// unlistedPlaces returns the places of the unlisted currents.
func (m *Model) unlistedPlaces() (list []run.Place) {
	for _, d := range m.unlisted {
		list = append(list, d.From.Place)
	}
	return list
}

// addUnlisted adds the unknowns of the unlisted currents.
func (m *Model) addUnlisted(add func(Unknown) int) {
	for i := range m.unlisted {
		add(Unknown{What: UnlistedShare, Index: i, WidePrior: true, Deviation: unlistedShareSpread})
		for k := range m.Steps {
			add(Unknown{What: StepUnlistedShare, Index: i, Step: k, Deviation: unlistedStepShareSpread})
		}
	}
}

// UnlistedAmps returns the current that something unlisted draws in step k at x, A; negative where it
// feeds the run.
func (m *Model) UnlistedAmps(a Assumptions, k int, x []float64) (sum float64) {
	for _, d := range m.StateAt(a, k, x).Par.Drains {
		sum += d.Amps
	}
	return sum
}

// setUnlisted sets the unlisted currents of step k.
func (m *Model) setUnlisted(s *State, k int, x []float64, lit int) {
	s.Par.Drains = s.Par.Drains[:0]
	if m.unlisted == nil {
		return
	}
	s.Par.Drains = append(s.Par.Drains, m.unlisted...)
	s.stated = statedAmps(m.Run, lit)
	for i, u := range m.Unknowns {
		if u.What == UnlistedShare || u.What == StepUnlistedShare && u.Step == k {
			s.Par.Drains[u.Index].Amps += clamp(x[i], -maxUnlistedShare, maxUnlistedShare) * s.stated
		}
	}
}

// maxUnlistedShare bounds the unlisted currents at which the network is solved.
const maxUnlistedShare = 3.0

// statedAmps returns the current of a run's pixels in a step as stated, A.
func statedAmps(r *run.Run, step int) (amps float64) {
	for _, reel := range r.Reels {
		one := reel.Strip.Idle
		for _, c := range reel.Strip.Channels {
			one += c.Amps * r.Steps[step].Levels[c.Name]
		}
		amps += one * float64(reel.Pixels)
	}
	return math.Max(amps, 1e-3)
}

// UnlistedStarts returns where fits with unlisted currents start: without any, and with those of a small
// and of a large feed at the middle of the reel.
func (m *Model) UnlistedStarts(a Assumptions) (list [][]float64) {
	for _, share := range []float64{0, -0.2, -0.5} {
		x := m.Start(a)
		for i, u := range m.Unknowns {
			if u.What == UnlistedShare && u.Index == middleDrain {
				x[i] = share
			}
		}
		list = append(list, x)
	}
	return list
}

// middleDrain is the index of the unlisted current at the middle of a reel.
const middleDrain = 1

// WithoutUnlisted returns the unknowns of a model with unlisted currents, which are zero, from those of
// the model without.
func (m *Model) WithoutUnlisted(x []float64) []float64 {
	first := slices.IndexFunc(m.Unknowns, func(u Unknown) bool { return u.What == UnlistedShare })
	return slices.Concat(x[:first], make([]float64, len(m.Unknowns)-len(x)), x[first:])
}

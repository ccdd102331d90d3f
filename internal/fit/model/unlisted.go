package model

import (
	"math"
	"slices"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/run"
)

// Unlisted is how the current depends on the load that something unlisted draws or feeds.
type Unlisted int

const (
	FollowsLoad      Unlisted = iota // as of a feed, of a wire to another place
	FollowsChannels                  // as of pixels that stay dark, and draw their idle current all the same
	Steady                           // the same in every step, as of a lamp
	FollowsAndSteady                 // a current that follows the load and a steady one, as of a feed between supplies of other volts
)

// Standard deviations of unlisted currents (common practice, no source).
const (
	// unlistedShareSpread is of the current at one place, as a part of that of all pixels: a feed
	// carries about a third of it.
	unlistedShareSpread = 0.3
	// unlistedStepSpread is of the difference of one step, as a part of the unlisted current: at the
	// same places it divides in the same way in all of them, but for pixels that starve.
	unlistedStepSpread = 0.01
)

// unlistedCurrents are the currents at one reel that the run file does not list.
type unlistedCurrents struct {
	reel   int
	how    Unlisted
	drains []ladder.Drain // by index of UnlistedShare
	parts  []Unlisted     // by drain: how it depends on the load
}

// WithUnlistedAt returns a model like m in which something that the run file does not list draws or
// feeds current at a reel: a feed, a wire to another place, a load, pixels that stay dark. It
// has unknown currents at the reel's ends and its middle. What such a thing has inside does not matter:
// the rest of the run depends on these currents alone. Assumptions of m on its readings hold for it too.
func (m *Model) WithUnlistedAt(reel int, how Unlisted) (*Model, error) {
	w := *m
	w.unlisted = &unlistedCurrents{reel: reel, how: how}
	last := m.Run.Reels[reel].Pixels
	middle := run.Place{Kind: run.AtReel, Index: reel, Pixel: (1 + last) / 2}
	parts, returns := []Unlisted{how}, how == FollowsLoad || how == FollowsAndSteady
	if how == FollowsAndSteady {
		parts = []Unlisted{FollowsLoad, Steady}
	}
	for _, part := range parts {
		drain := func(from, to run.Point) {
			w.unlisted.drains = append(w.unlisted.drains, ladder.Drain{From: from, To: to})
			w.unlisted.parts = append(w.unlisted.parts, part)
		}
		for _, pixel := range slices.Compact([]int{1, middle.Pixel, last}) {
			at := run.Place{Kind: run.AtReel, Index: reel, Pixel: pixel}
			drain(run.Point{Place: at, Rail: run.Plus}, run.Point{Place: at, Rail: run.Minus})
		}
		if len(m.Run.Supplies) > 1 && returns { // else its two conductors carry about the same current
			drain(run.Point{Place: middle, Rail: run.Minus}, run.Point{Place: m.firstSupply(), Rail: run.Minus})
		}
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
	return m.unlisted.reel
}

// SameUnlisted reports whether two models have unlisted currents at the same reel, of the same kind, or
// none.
func (m *Model) SameUnlisted(x *Model) bool {
	if m.unlisted == nil || x.unlisted == nil {
		return m.unlisted == x.unlisted
	}
	return m.unlisted.reel == x.unlisted.reel && m.unlisted.how == x.unlisted.how
}

// firstSupply returns the place of a supply that feeds the run.
func (m *Model) firstSupply() run.Place {
	at := slices.IndexFunc(m.Run.Feeds, func(f run.Feed) bool { return f.From.Kind == run.AtSupply })
	return m.Run.Feeds[at].From
}

// unlistedPlaces returns the places of the unlisted currents.
func (m *Model) unlistedPlaces() (list []run.Place) {
	if m.unlisted == nil {
		return nil
	}
	for _, d := range m.unlisted.drains {
		list = append(list, d.From.Place)
	}
	return list
}

// addUnlisted adds the unknowns of the unlisted currents.
func (m *Model) addUnlisted(add func(Unknown) int) {
	if m.unlisted == nil {
		return
	}
	for i := range m.unlisted.drains {
		add(Unknown{What: UnlistedShare, Index: i, WidePrior: true, Deviation: unlistedShareSpread})
	}
	for k := range m.Steps {
		add(Unknown{What: StepUnlistedScale, Step: k, Deviation: unlistedStepSpread})
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

// UnlistedReturns reports whether something unlisted feeds most of the current that it draws back at another
// place of its reel, at x: it is a wire between places, of which one may be elsewhere.
func (m *Model) UnlistedReturns(a Assumptions, x []float64) bool {
	if m.unlisted == nil || len(m.Steps) == 0 {
		return false
	}
	sum, all := 0.0, 0.0
	for k := range m.Steps {
		at := map[run.Point]float64{}
		for _, d := range m.StateAt(a, k, x).Par.Drains {
			if d.From.Rail == run.Plus {
				at[d.From] += d.Amps
			}
		}
		for _, amps := range at {
			sum, all = sum+amps, all+math.Abs(amps)
		}
	}
	return all > 2*math.Abs(sum)
}

// unlistedUnit is the current of which an unlisted current of a step is a part.
type unlistedUnit struct {
	amps           float64 // A
	channels, idle float64 // parts of it that change with the scale of the channels' and of the idle current
}

// setUnlisted sets the unlisted currents of step k, of a state with everything else set.
func (m *Model) setUnlisted(s *State, k int, x []float64, lit int) {
	s.Par.Drains, s.unlisted, s.unlistedScale = s.Par.Drains[:0], s.unlisted[:0], 1
	if m.unlisted == nil {
		return
	}
	for i, u := range m.Unknowns {
		if u.What == StepUnlistedScale && u.Step == k {
			s.unlistedScale += x[i]
		}
	}
	for _, part := range m.unlisted.parts {
		unit := m.unlistedUnit(s, part, lit)
		unit.amps *= s.unlistedScale
		s.unlisted = append(s.unlisted, unit)
	}
	s.Par.Drains = append(s.Par.Drains, m.unlisted.drains...)
	for i, u := range m.Unknowns {
		if u.What == UnlistedShare {
			s.Par.Drains[u.Index].Amps = clamp(x[i], -maxUnlistedShare, maxUnlistedShare) * s.unlisted[u.Index].amps
		}
	}
}

// unlistedUnit returns the unit of an unlisted current of one kind, without the factor of the step.
func (m *Model) unlistedUnit(s *State, how Unlisted, lit int) unlistedUnit {
	if how == Steady {
		return unlistedUnit{amps: m.largestAmps()}
	}
	channels, idle := m.StatedAmps(lit)
	channels, idle = channels*s.Adjust.Scale, idle*s.Adjust.Idle
	if how == FollowsChannels {
		idle = 0
	}
	amps := math.Max(channels+idle, minUnlistedUnit)
	return unlistedUnit{amps, channels / amps, idle / amps}
}

// minUnlistedUnit is the least such unit, A.
const minUnlistedUnit = 1e-3

// maxUnlistedShare bounds the unlisted currents at which the network is solved.
const maxUnlistedShare = 3.0

// StatedAmps returns the current of a run's pixels in a step as stated, A: of their channels, and when
// they are idle.
func (m *Model) StatedAmps(step int) (channels, idle float64) { return statedAmps(m.Run, step) }

func statedAmps(r *run.Run, step int) (channels, idle float64) {
	for _, reel := range r.Reels {
		n := float64(reel.Pixels)
		idle += n * reel.Strip.Idle
		for _, c := range reel.Strip.Channels {
			channels += n * c.Amps * r.Steps[step].Levels[c.Name]
		}
	}
	return channels, idle
}

// largestAmps returns the largest stated current of any step with readings, A.
func (m *Model) largestAmps() (most float64) {
	for _, step := range m.Steps[:m.ReadSteps] {
		channels, idle := m.StatedAmps(step)
		most = math.Max(most, channels+idle)
	}
	return math.Max(most, minUnlistedUnit)
}

// UnlistedStarts returns where fits with unlisted currents start: without any, and with those of a small
// and of a large feed, or of a lamp, at the middle of the reel.
func (m *Model) UnlistedStarts(a Assumptions) (list [][]float64) {
	shares := []float64{0, -0.2, -0.5}
	if m.unlisted.how == Steady {
		shares = []float64{0, 0.2}
	}
	for _, share := range shares {
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

package plan

import (
	"fmt"
	"math"
	"slices"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// remedies are changes that are tried for targets that cannot be settled, the easier ones first.
var remedies = []struct {
	describe func(r *run.Run, meters []int) string // "" where the run leaves no room for it
	change   func(r *run.Run, meters []int)
	read     func(r *run.Run) []reading.Reading // temperatures; nil for none
}{
	{describe: describeTemperatures, read: temperatures},
	{describe: describeBrighter(2), change: brighter(2)},
	{describe: describeBrighter(4), change: brighter(4)},
	{describe: describeLead, change: lead},
	{describe: describeFiner, change: finer},
	{describe: describeMoreAccurate, change: moreAccurate},
	{describe: func(r *run.Run, meters []int) string {
		step := describeBrighter(4)(r, meters)
		if step == "" {
			return ""
		}
		return describeFiner(r, meters) + ", in " + step
	}, change: func(r *run.Run, meters []int) { finer(r, meters); brighter(4)(r, meters) }},
}

// singleRemedies is the number of remedies that are one change each.
const singleRemedies = 6

// advise adds the changes that would settle what this plan cannot.
func (p *Plan) advise(s *planner, meters []int) error {
	needsRemedy := func(e Element) bool { return !e.Settled && len(e.Remedies) == 0 }
	for n, remedy := range remedies {
		if !slices.ContainsFunc(p.Elements, needsRemedy) {
			return nil
		}
		says := remedy.describe(s.run, meters)
		if says == "" {
			continue
		}
		changed := clone(s.run)
		if remedy.change != nil {
			remedy.change(changed, meters)
		}
		var known []reading.Reading
		if remedy.read != nil {
			known = remedy.read(changed)
		}
		other, err := newPlanner(changed, meters, known...)
		if err != nil { // such a step starves the run
			continue
		}
		for i := range p.Elements {
			e := &p.Elements[i]
			v := other.conditions[healthyRun]
			for k, t := range v.targets {
				at := &v.est.Elements[t.Element]
				if t.Name == e.Name && at.Kind == e.Kind && !e.Settled && (len(e.Remedies) == 0 || n < singleRemedies && len(e.Remedies) < 2) && other.settles(k, [2][]float64{v.leastVariances, other.conditions[faultyRun].leastVariances}) {
					e.Remedies = append(e.Remedies, says)
				}
			}
		}
	}
	return nil
}

func describeTemperatures(r *run.Run, _ []int) string {
	if len(r.Feeds) == 0 {
		return ""
	}
	return "the temperature of each feed's wire, read in every step"
}

// temperatures returns readings of each feed's temperature in every step.
func temperatures(r *run.Run) (list []reading.Reading) {
	for _, step := range r.Steps {
		for _, f := range r.Feeds {
			list = append(list, reading.Reading{Step: step.Name, Quantity: run.Temperature, From: f.Name, Value: r.Ambient})
		}
	}
	return list
}

// clone copies the parts of a run that remedies change.
func clone(r *run.Run) *run.Run {
	c := *r
	c.Steps = slices.Clone(r.Steps)
	c.Meters = slices.Clone(r.Meters)
	for i := range c.Meters {
		c.Meters[i].Ranges = slices.Clone(r.Meters[i].Ranges)
	}
	return &c
}

// brightest returns the step with the greatest sum of levels.
func brightest(r *run.Run) run.Step {
	best, most := run.Step{}, -1.0
	for _, step := range r.Steps {
		sum := 0.0
		for _, level := range step.Levels {
			sum += level
		}
		if sum > most {
			best, most = step, sum
		}
	}
	return best
}

func describeBrighter(times float64) func(*run.Run, []int) string {
	return func(r *run.Run, _ []int) string {
		times := possibleFactor(r, times)
		if times == 0 {
			return ""
		}
		return fmt.Sprintf("a step %.2g times as bright as %q, if the supplies, fuses and feeds carry it (see predict)", times, brightest(r).Name)
	}
}

// possibleFactor returns the factor, at most times, by which a step can be brighter than the brightest
// one with no channel above full level; 0 for less than leastBrighter.
func possibleFactor(r *run.Run, times float64) float64 {
	for _, level := range brightest(r).Levels {
		if level > 0 {
			times = math.Min(times, 1/level)
		}
	}
	if times < leastBrighter {
		return 0
	}
	return times
}

// leastBrighter is the least factor of brightness for which a step is tried.
const leastBrighter = 1.25

// brighter adds a step of a multiple of the brightest one's levels, limited so that the colour
// stays the same.
func brighter(times float64) func(*run.Run, []int) {
	return func(r *run.Run, _ []int) {
		levels := map[string]float64{}
		for name, level := range brightest(r).Levels {
			levels[name] = possibleFactor(r, times) * level
		}
		r.Steps = append(r.Steps, run.Step{Name: "brighter", Levels: levels})
	}
}

func describeFiner(r *run.Run, meters []int) string {
	resolution := math.Inf(1)
	for _, m := range meters {
		for _, g := range r.Meters[m].Ranges {
			if g.Quantity == run.Voltage {
				resolution = math.Min(resolution, g.Resolution)
			}
		}
	}
	return fmt.Sprintf("a voltmeter that resolves %.3g mV", 100*resolution)
}

// finer gives voltmeters one more digit.
func finer(r *run.Run, meters []int) {
	for _, m := range meters {
		for i := range r.Meters[m].Ranges {
			if g := &r.Meters[m].Ranges[i]; g.Quantity == run.Voltage {
				g.Resolution /= 10
			}
		}
	}
}

// describeLead returns the words for a lead that reaches along the longest feed or reel.
func describeLead(r *run.Run, meters []int) string {
	a := longest(r)
	return fmt.Sprintf("a lead of %.2g m, to read along one conductor, such as from %s+ to %s+", math.Ceil(a.Metres), r.PlaceName(a.From), r.PlaceName(a.To))
}

// lead gives meters a lead that reaches along every feed and reel.
func lead(r *run.Run, meters []int) {
	for _, m := range meters {
		r.Meters[m].Lead = math.Max(r.Meters[m].Lead, math.Ceil(longest(r).Metres))
	}
}

// longest is the longest feed or reel whose length is known.
func longest(r *run.Run) (most run.Conductor) {
	for _, a := range r.Conductors() {
		if a.Metres > most.Metres && !math.IsInf(a.Metres, 1) {
			most = a
		}
	}
	return most
}

func describeMoreAccurate(*run.Run, []int) string {
	return "meters five times as accurate, in volts and amperes"
}

// moreAccurate makes meters five times as accurate.
func moreAccurate(r *run.Run, meters []int) {
	for _, m := range meters {
		for i := range r.Meters[m].Ranges {
			g := &r.Meters[m].Ranges[i]
			g.Fraction, g.Counts = g.Fraction/5, g.Counts/5
		}
	}
}

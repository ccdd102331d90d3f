package estimate

import (
	"math"

	"ohmkeep/internal/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/verdict"
)

// describeElements turns unknowns into resistances: the loop of every joint, feed
// and reel, each rail, and the supplies' output resistance.
func (e *Estimate) describeElements() {
	p := e.problem
	for i, at := range p.joints {
		if at[1] == absent {
			one := e.single(at[0], true)
			one.Kind, one.Index, one.Rail, one.Apart = assessment.Joint, i, assessment.Minus, true
			e.add(one)
			continue
		}
		e.addRails(assessment.Joint, i, at)
	}
	for i, at := range p.feeds {
		e.addRails(assessment.Feed, i, at)
	}
	for i, at := range p.reels {
		e.addRails(assessment.Reel, i, at)
	}
	for i := range p.run.Supplies {
		one := e.single(p.supplies[i][1], false)
		one.Kind, one.Index, one.Rail = assessment.Supply, i, assessment.Loop
		e.add(one)
	}
}

// toldApart is the part of its prior deviation that may be left of a split for the
// rails to count as told apart.
const toldApart = 0.4

// addRails adds an element's loop and its two rails.
func (e *Estimate) addRails(kind assessment.Kind, index int, at [2]int) {
	p := e.problem
	bent := kind != assessment.Reel
	loop := e.single(at[0], bent)
	if !bent {
		e.rescale(&loop, p.segment[index]/p.run.Reels[index].SegmentLength())
	}
	loop.Kind, loop.Index, loop.Rail = kind, index, assessment.Loop
	e.add(loop)
	splitUnknown := p.unknowns[at[1]]
	apart := math.Sqrt(e.covariance.At(at[1], at[1])) < toldApart*splitUnknown.deviation
	for rail, name := range []assessment.Rail{assessment.Plus, assessment.Minus} {
		one := e.rail(loop, at, 1-2*float64(rail))
		one.Kind, one.Index, one.Rail, one.Apart = kind, index, name, apart
		e.add(one)
	}
}

// single is the belief of one unknown.
func (e *Estimate) single(at int, bent bool) Element {
	row := make([]float64, len(e.x))
	row[at] = 1
	return Element{bent: bent, row: row, Belief: verdict.Belief{Mean: e.x[at]}}
}

// rail is the belief of one conductor: its share of the loop, (½ ± split)·loop.
func (e *Estimate) rail(loop Element, at [2]int, sign float64) Element {
	share := 0.5 + sign*clamp(e.x[at[1]], -splitMost, splitMost)
	one := Element{bent: loop.bent, row: make([]float64, len(e.x))}
	if !loop.bent {
		one.Belief.Mean = share * loop.Belief.Mean
		one.row[at[0]] = share * loop.row[at[0]]
		one.row[at[1]] = sign * loop.Belief.Mean
		return one
	}
	if loop.Belief.Mean >= unbendMost { // open: which rail, nobody knows
		one.Belief.Mean = loop.Belief.Mean
		one.row[at[0]] = 1
		return one
	}
	ohms := unbend(loop.Belief.Mean)
	one.Belief.Mean = bend(share * ohms)
	slope := 1 / unbendSlope(one.Belief.Mean)
	one.row[at[0]] = slope * share * unbendSlope(loop.Belief.Mean)
	one.row[at[1]] = slope * sign * ohms
	return one
}

func (e *Estimate) rescale(x *Element, by float64) {
	x.Belief.Mean *= by
	for i := range x.row {
		x.row[i] *= by
	}
}

// tells is the part of what was uncertain beforehand that may be left for an
// element to count as known by the readings.
const tells = 0.5

// add completes an element with its deviation and whether it is known.
func (e *Estimate) add(x Element) {
	x.Belief.Deviation = e.deviation(x.row)
	before := 0.0
	for i, d := range x.row {
		u := e.problem.unknowns[i].deviation
		before += d * d * u * u
	}
	x.Known = x.Belief.Deviation/e.inflation < tells*math.Sqrt(before)
	if x.Rail != assessment.Minus {
		x.Amps = e.amps(x.Kind, x.Index, run.Plus)
	}
	if x.Rail != assessment.Plus && x.Kind != assessment.Supply {
		x.Amps = math.Max(x.Amps, e.amps(x.Kind, x.Index, run.Minus))
	}
	e.Elements = append(e.Elements, x)
}

// amps is the greatest current through a conductor in the steps read.
func (e *Estimate) amps(kind assessment.Kind, index int, rail run.Rail) float64 {
	most := 0.0
	for _, s := range e.problem.solvers[:e.problem.read] {
		now := 0.0
		switch kind {
		case assessment.Joint:
			now = s.JointAmps(index, rail)
		case assessment.Feed:
			now = s.FeedAmps(index, rail)
		case assessment.Supply:
			now = s.SupplyAmps(index)
		case assessment.Reel:
			now = s.ReelAmps(index, rail)
		}
		most = math.Max(most, math.Abs(now))
	}
	return most
}

// describeProfiles takes the fitted potentials along the reels, with a band that is
// computed where the network has nodes and drawn straight between them.
func (e *Estimate) describeProfiles() {
	p := e.problem
	for k, step := range p.steps[:p.read] {
		profile := assessment.Profile{Step: p.run.Steps[step].Name}
		for i, reel := range p.run.Reels {
			rp := assessment.ReelProfile{Name: reel.Name, Plus: make([]float64, reel.Pixels),
				Minus: make([]float64, reel.Pixels), Band: make([]float64, reel.Pixels)}
			p.solvers[k].Reel(i, rp.Plus, rp.Minus, nil)
			e.band(k, i, rp.Band)
			profile.Reels = append(profile.Reels, rp)
		}
		e.Profiles = append(e.Profiles, profile)
	}
}

// coverage95 is the two-sided 95 % factor of the normal distribution.
const coverage95 = 1.959963984540054

func (e *Estimate) band(k, reel int, band []float64) {
	p := e.problem
	lastPixel, lastHalf := 0, 0.0
	for _, pixel := range p.net.Taps(reel) {
		at := run.Place{Kind: run.AtReel, Index: reel, Pixel: pixel}
		half := 0.0
		err := p.solvers[k].VoltageGradient(run.Point{Place: at}, run.Point{Place: at, Rail: run.Minus}, p.gradient)
		if err == nil {
			p.chain(k, e.x, p.states[k], p.gradient, p.row)
			half = coverage95 * e.deviation(p.row)
		}
		band[pixel-1] = half
		for between := lastPixel + 1; lastPixel > 0 && between < pixel; between++ {
			part := float64(between-lastPixel) / float64(pixel-lastPixel)
			band[between-1] = lastHalf + part*(half-lastHalf)
		}
		lastPixel, lastHalf = pixel, half
	}
}

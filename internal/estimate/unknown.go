package estimate

import (
	"math"

	"ohmkeep/internal/run"
)

// quantity says which quantity an unknown stands for.
type quantity int

const (
	jointRail   quantity = iota // bend(Ω) of one conductor, see below
	feedRail                    // the same, at 20 °C
	reelRail                    // factor on half of the nominal Ω/m
	supplyVolts                 // V without load
	supplyOhms                  // Ω
	stepVolts                   // V by which a supply differs in one step
	allScale                    // ln of the factor on all channel currents
	stepScale                   // the same in one step
	idleScale                   // ln of the factor on the idle current
	allShift                    // V by which the knees are shifted
	stepShift                   // the same in one step
	allStretch                  // ln of the factor on the volts over which a channel falls
	warmth                      // °C of the copper
	foilFactor                  // factor on the stated Ω/m that the reels of one strip have in common
	foilShare                   // and how it is shared: what the plus has more than the minus, over both
	gain                        // relative gain error of one meter range (or place)
	offset                      // V or A by which it is off
)

// unknown is one parameter of the fit with what is known of it beforehand. An
// infinite deviation would say "nothing"; priors of resistances are so wide that
// they say next to nothing, but keep the fit finite where no reading tells.
type unknown struct {
	what      quantity
	index     int // of the joint, feed, reel, supply or meter range
	step      int // stepVolts, stepScale, stepShift
	rail      run.Rail
	vague     bool // its prior only keeps the fit finite: the truth is nowhere near its width
	even      bool // within limits √3 deviations away, and nowhere beyond
	mean      float64
	deviation float64
}

// Prior deviations that are choices of this package rather than of the run file;
// all are common practice, no source, and wide on purpose.
const (
	railSpread      = 1.0   // of a bent conductor: anything from perfect to open
	reelSpread      = 0.30  // of the nominal
	reelSpreadBlind = 1.5   // where the strip states none
	voltsSpread     = 0.03  // of a supply's stated volts: trimmers are trimmed by hand
	sagSpread       = 0.002 // of its volts, from one step to another
	outputOhms      = 0.005 // of a supply that states none
	scaleSpread     = 0.20  // of the channel currents: a typical figure of a data sheet
	stepSpread      = 0.10  // of the duty from one step to another
	idleSpread      = 0.40
	shiftSpread     = 0.05 // of the rated volts
	shiftStepSpread = 0.02
	stretchSpread   = 0.30 // a fall may be a third longer or shorter than stated, or of another shape
	warmthSpread    = 6.0  // K, where nobody measured the temperature: some 10 K either way
	warmthRead      = 1.5  // K, that copper may differ from a thermometer beside it
)

// unknowns lists the parameters of the problem in a fixed order.
func (p *problem) layUnknowns() {
	r := p.run
	add := func(u unknown) int {
		p.unknowns = append(p.unknowns, u)
		return len(p.unknowns) - 1
	}
	rails := func(w quantity, index int, mean, spread, splits float64) [2]int {
		var at [2]int
		for _, rail := range []run.Rail{run.Plus, run.Minus} {
			at[rail] = add(unknown{what: w, index: index, rail: rail, vague: true, mean: mean, deviation: spread})
		}
		p.splits = append(p.splits, split{at: at, bent: w != reelRail, about: even, spread: splits})
		return at
	}
	for i, j := range r.Joints {
		if j.PlusCut {
			minus := add(unknown{what: jointRail, index: i, rail: run.Minus, vague: true, mean: bend(j.Ohms / 2), deviation: railSpread})
			p.joints = append(p.joints, [2]int{absent, minus})
			continue
		}
		p.joints = append(p.joints, rails(jointRail, i, bend(j.Ohms/2), railSpread, jointSplits))
	}
	for i, f := range r.Feeds {
		spread := feedSplits
		if f.Ohms == 0 {
			spread = cableSplits
		}
		p.feeds = append(p.feeds, rails(feedRail, i, bend(f.Ohms/2), railSpread, spread))
		p.splits[len(p.splits)-1].wire = f.Ohms
	}
	for i, reel := range r.Reels {
		spread := reelSpread
		if reel.Strip.LoopOhms == 0 {
			spread = reelSpreadBlind
		}
		p.reels = append(p.reels, rails(reelRail, i, 1, spread, reelSplits))
	}
	p.layFoils(add)
	for i, s := range r.Supplies {
		ohms, spread := s.Ohms, s.Ohms/2+outputOhms
		p.supplies = append(p.supplies, [2]int{
			add(unknown{what: supplyVolts, index: i, mean: s.Volts, deviation: voltsSpread * s.Volts}),
			add(unknown{what: supplyOhms, index: i, mean: ohms, deviation: spread}),
		})
	}
	add(unknown{what: allScale, deviation: scaleSpread})
	add(unknown{what: idleScale, deviation: idleSpread})
	volts := r.Reels[0].Strip.Volts
	add(unknown{what: allShift, deviation: shiftSpread * volts})
	add(unknown{what: allStretch, deviation: stretchSpread})
	add(unknown{what: warmth, mean: p.temperature.mean, deviation: p.temperature.deviation, even: p.temperature.deviation == warmthSpread})
	for k, step := range p.steps {
		for i, s := range r.Supplies {
			add(unknown{what: stepVolts, index: i, step: k, deviation: sagSpread * s.Volts})
		}
		if lit(r.Steps[step]) {
			add(unknown{what: stepScale, step: k, deviation: stepSpread})
			add(unknown{what: stepShift, step: k, deviation: shiftStepSpread * volts})
		}
	}
	for i, s := range p.scales {
		p.scales[i].gain = add(unknown{what: gain, even: true, index: i, deviation: s.limits.Fraction / math.Sqrt(3)})
		p.scales[i].offset = add(unknown{what: offset, even: true, index: i, deviation: s.limits.Counts * s.limits.Resolution / math.Sqrt(3)})
	}
}

func lit(s run.Step) bool {
	for _, level := range s.Levels {
		if level > 0 {
			return true
		}
	}
	return false
}

package model

import (
	"math"

	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/run"
)

// Quantity says which quantity an unknown stands for.
type Quantity int

const (
	JointRail   Quantity = iota // prior.Bend of Ω, of one conductor
	FeedRail                    // the same, at 20 °C
	ReelRail                    // factor on half of the nominal Ω/m
	SupplyVolts                 // V without load
	SupplyOhms                  // Ω
	StepVolts                   // V by which a supply differs in one step
	AllScale                    // ln of the factor on all channel currents
	StepScale                   // the same in one step
	IdleScale                   // ln of the factor on the idle current
	AllShift                    // V by which the knees are shifted
	StepShift                   // the same in one step
	AllStretch                  // ln of the factor on the volts over which a channel falls
	Warmth                      // °C of the copper
	StepWarmth                  // K by which it differs in one step
	FoilFactor                  // factor on the stated Ω/m that the reels of one strip have in common
	FoilShare                   // and how it is shared: what the plus has more than the minus, over both
	Gain                        // relative gain error of one meter range (or place)
	Offset                      // V or A by which it is off
)

// Unknown is one parameter of the fit with what is known of it beforehand. An
// infinite deviation would say "nothing"; priors of resistances are so wide that
// they say next to nothing, but keep the fit finite where no reading tells.
type Unknown struct {
	What      Quantity
	Index     int // of the joint, feed, reel, supply or meter range
	Step      int // of StepVolts, StepScale, StepShift, StepWarmth
	Rail      run.Rail
	Vague     bool // its prior only keeps the fit finite: the truth is nowhere near its width
	Even      bool // within limits √3 deviations away, and nowhere beyond
	Mean      float64
	Deviation float64
}

// Prior deviations that are choices of this package rather than of the run file;
// all are common practice, no source, and wide on purpose.
const (
	railSpread      = 1.0   // of a bent conductor: anything from perfect to open
	reelSpread      = 0.30  // of the nominal
	reelSpreadBlind = 1.5   // where the strip states none
	voltsSpread     = 0.03  // of a supply's stated volts: trimmers are trimmed by hand
	sagSpread       = 0.003 // of its volts, from one step to another
	outputOhms      = 0.005 // of a supply that states none
	scaleSpread     = 0.20  // of the channel currents: a typical figure of a data sheet
	stepSpread      = 0.10  // of the duty from one step to another
	idleSpread      = 0.40
	shiftSpread     = 0.05 // of the rated volts
	shiftStepSpread = 0.02
	stretchSpread   = 0.30 // a fall may be a third longer or shorter than stated, or of another shape
	warmthSpread    = 5.3  // K, where nobody measured the temperature: some 10 K either way
	warmthRead      = 1.5  // K, that copper may differ from a thermometer beside it
	warmthStep      = 2.8  // K, from one step to another: what is lit longer is warmer
	warmthStepRead  = 0.7  // K, the same beside what was read in it
	warmthLit       = 2.0  // K, that copper which carries current is warmer than what is about it
	warmthOther     = 6.0  // K, from the steps in which it was read to one in which it was not
)

// unknowns lists the parameters of the problem in a fixed order.
func (p *Problem) layUnknowns() {
	r := p.Run
	add := func(u Unknown) int {
		p.Unknowns = append(p.Unknowns, u)
		return len(p.Unknowns) - 1
	}
	rails := func(w Quantity, index int, mean, spread, splits float64) [2]int {
		var at [2]int
		for _, rail := range []run.Rail{run.Plus, run.Minus} {
			at[rail] = add(Unknown{What: w, Index: index, Rail: rail, Vague: true, Mean: mean, Deviation: spread})
		}
		p.Splits = append(p.Splits, prior.Split{At: at, Bent: w != ReelRail, About: prior.Even, Spread: splits})
		return at
	}
	for i, j := range r.Joints {
		if j.PlusCut {
			minus := add(Unknown{What: JointRail, Index: i, Rail: run.Minus, Vague: true, Mean: prior.Bend(j.Ohms / 2), Deviation: railSpread})
			p.Joints = append(p.Joints, [2]int{Absent, minus})
			continue
		}
		p.Joints = append(p.Joints, rails(JointRail, i, prior.Bend(j.Ohms/2), railSpread, prior.JointSplits))
	}
	for i, f := range r.Feeds {
		spread := prior.FeedSplits
		if f.Ohms == 0 {
			spread = prior.CableSplits
		}
		p.Feeds = append(p.Feeds, rails(FeedRail, i, prior.Bend(f.Ohms/2), railSpread, spread))
		p.Splits[len(p.Splits)-1].Wire = f.Ohms
	}
	for i, reel := range r.Reels {
		spread := reelSpread
		if reel.Strip.LoopOhms == 0 {
			spread = reelSpreadBlind
		}
		p.Reels = append(p.Reels, rails(ReelRail, i, 1, spread, prior.ReelSplits))
	}
	p.layFoils(add)
	for i, s := range r.Supplies {
		ohms, spread := s.Ohms, s.Ohms/2+outputOhms
		p.Supplies = append(p.Supplies, [2]int{
			add(Unknown{What: SupplyVolts, Index: i, Mean: s.Volts, Deviation: voltsSpread * s.Volts}),
			add(Unknown{What: SupplyOhms, Index: i, Mean: ohms, Deviation: spread}),
		})
	}
	add(Unknown{What: AllScale, Deviation: scaleSpread})
	add(Unknown{What: IdleScale, Deviation: idleSpread})
	volts := r.Reels[0].Strip.Volts
	add(Unknown{What: AllShift, Deviation: shiftSpread * volts})
	add(Unknown{What: AllStretch, Deviation: stretchSpread})
	add(Unknown{What: Warmth, Mean: p.temperature.mean, Deviation: p.temperature.deviation, Even: p.temperature.deviation == warmthSpread})
	for k, step := range p.Steps {
		warmer, read := p.temperature.step[step]
		deviation := warmthStep
		switch {
		case read:
			deviation = warmthStepRead
		case p.temperature.step != nil && r.Steps[step].Lit():
			warmer, deviation = warmthLit, warmthOther
		}
		add(Unknown{What: StepWarmth, Step: k, Mean: warmer, Deviation: deviation})
		for i, s := range r.Supplies {
			add(Unknown{What: StepVolts, Index: i, Step: k, Deviation: sagSpread * s.Volts})
		}
		add(Unknown{What: StepScale, Step: k, Deviation: stepSpread})
		add(Unknown{What: StepShift, Step: k, Deviation: shiftStepSpread * volts})
	}
	for i, s := range p.Scales {
		p.Scales[i].Gain = add(Unknown{What: Gain, Even: true, Index: i, Deviation: s.Limits.Fraction / math.Sqrt(3)})
		p.Scales[i].Offset = add(Unknown{What: Offset, Even: true, Index: i, Deviation: s.Limits.Counts * s.Limits.Resolution / math.Sqrt(3)})
	}
}

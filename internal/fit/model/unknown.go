package model

import (
	"math"

	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/run"
)

// Quantity says which quantity an unknown stands for.
type Quantity int

const (
	JointRail         Quantity = iota // prior.Bend of Ω, of one conductor
	FeedRail                          // the same, at 20 °C
	ReelRail                          // factor on half of the nominal Ω/m
	SupplyVolts                       // V without load
	SupplyOhms                        // Ω
	StepVolts                         // V by which a supply differs in one step
	CurrentScale                      // ln of the factor on all channel currents
	StepCurrentScale                  // the same in one step
	IdleCurrentScale                  // ln of the factor on the idle current
	KneeShift                         // V by which the knees are shifted
	StepKneeShift                     // the same in one step
	KneeStretch                       // ln of the factor on the volts over which a channel falls
	CopperTemperature                 // °C of the copper
	StepTemperature                   // K by which it differs in one step
	FoilFactor                        // factor on the stated Ω/m that the reels of one strip have in common
	FoilShare                         // and how it is shared: what the plus has more than the minus, over both
	Gain                              // relative gain error of one meter range (or place)
	Offset                            // V or A by which it is off
)

// Unknown is one parameter of the fit with what is known of it beforehand. An
// infinite deviation would say "nothing"; priors of resistances are so wide that
// they say next to nothing, but keep the fit finite where no reading tells.
type Unknown struct {
	What        Quantity
	Index       int // of the joint, feed, reel, supply or meter range
	Step        int // of StepVolts, StepScale, StepShift, StepWarmth
	Rail        run.Rail
	WidePrior   bool // its prior only keeps the fit finite: the truth is nowhere near its width
	Rectangular bool // within limits √3 deviations away, and nowhere beyond
	Mean        float64
	Deviation   float64
}

// Prior deviations that are choices of this package rather than of the run file;
// all are common practice, no source, and wide on purpose.
const (
	conductorSpread         = 1.0   // of a bent conductor: anything from perfect to open
	reelSpread              = 0.30  // of the nominal
	unstatedReelSpread      = 1.5   // where the strip states none
	voltsSpread             = 0.03  // of a supply's stated volts: trimmers are trimmed by hand
	stepVoltsSpread         = 0.003 // of its volts, from one step to another
	unstatedOutputOhms      = 0.005 // of a supply that states none
	currentScaleSpread      = 0.20  // of the channel currents: a typical figure of a data sheet
	stepCurrentSpread       = 0.10  // of the duty from one step to another
	idleCurrentSpread       = 0.40
	kneeShiftSpread         = 0.05 // of the rated volts
	stepKneeShiftSpread     = 0.02
	kneeStretchSpread       = 0.30 // a fall may be a third longer or shorter than stated, or of another shape
	unreadTemperatureSpread = 5.3  // K, where nobody measured the temperature: some 10 K either way
	readTemperatureSpread   = 1.5  // K, that copper may differ from a thermometer beside it
	unreadStepSpread        = 2.8  // K, from one step to another: what is lit longer is warmer
	readStepSpread          = 0.7  // K, the same beside what was read in it
	litStepRise             = 2.0  // K, that copper which carries current is warmer than what is about it
	litStepSpread           = 6.0  // K, from the steps in which it was read to one in which it was not
)

// unknowns lists the parameters of the problem in a fixed order.
func (p *Problem) addUnknowns() {
	r := p.Run
	add := func(u Unknown) int {
		p.Unknowns = append(p.Unknowns, u)
		return len(p.Unknowns) - 1
	}
	rails := func(w Quantity, index int, mean, spread, splits float64) [2]int {
		var at [2]int
		for _, rail := range []run.Rail{run.Plus, run.Minus} {
			at[rail] = add(Unknown{What: w, Index: index, Rail: rail, WidePrior: true, Mean: mean, Deviation: spread})
		}
		p.Splits = append(p.Splits, prior.Split{Rails: at, Transformed: w != ReelRail, ShareAbout: prior.EvenShare, Spread: splits})
		return at
	}
	for i, j := range r.Joints {
		if j.PlusCut {
			minus := add(Unknown{What: JointRail, Index: i, Rail: run.Minus, WidePrior: true, Mean: prior.Transform(j.Ohms / 2), Deviation: conductorSpread})
			p.Joints = append(p.Joints, [2]int{Absent, minus})
			continue
		}
		p.Joints = append(p.Joints, rails(JointRail, i, prior.Transform(j.Ohms/2), conductorSpread, prior.JointSplitSpread))
	}
	for i, f := range r.Feeds {
		spread := prior.FeedSplitSpread
		if f.Ohms == 0 {
			spread = prior.CableSplitSpread
		}
		p.Feeds = append(p.Feeds, rails(FeedRail, i, prior.Transform(f.Ohms/2), conductorSpread, spread))
		p.Splits[len(p.Splits)-1].Wire = f.Ohms
	}
	for i, reel := range r.Reels {
		spread := reelSpread
		if reel.Strip.LoopOhms == 0 {
			spread = unstatedReelSpread
		}
		p.Reels = append(p.Reels, rails(ReelRail, i, 1, spread, prior.ReelSplitSpread))
	}
	p.addFoilPriors(add)
	for i, s := range r.Supplies {
		ohms, spread := s.Ohms, s.Ohms/2+unstatedOutputOhms
		p.Supplies = append(p.Supplies, [2]int{
			add(Unknown{What: SupplyVolts, Index: i, Mean: s.Volts, Deviation: voltsSpread * s.Volts}),
			add(Unknown{What: SupplyOhms, Index: i, Mean: ohms, Deviation: spread}),
		})
	}
	add(Unknown{What: CurrentScale, Deviation: currentScaleSpread})
	add(Unknown{What: IdleCurrentScale, Deviation: idleCurrentSpread})
	volts := r.Reels[0].Strip.Volts
	add(Unknown{What: KneeShift, Deviation: kneeShiftSpread * volts})
	add(Unknown{What: KneeStretch, Deviation: kneeStretchSpread})
	add(Unknown{What: CopperTemperature, Mean: p.temperature.mean, Deviation: p.temperature.deviation, Rectangular: p.temperature.deviation == unreadTemperatureSpread})
	for k, step := range p.Steps {
		warmer, read := p.temperature.step[step]
		deviation := unreadStepSpread
		switch {
		case read:
			deviation = readStepSpread
		case p.temperature.step != nil && r.Steps[step].Lit():
			warmer, deviation = litStepRise, litStepSpread
		}
		add(Unknown{What: StepTemperature, Step: k, Mean: warmer, Deviation: deviation})
		for i, s := range r.Supplies {
			add(Unknown{What: StepVolts, Index: i, Step: k, Deviation: stepVoltsSpread * s.Volts})
		}
		add(Unknown{What: StepCurrentScale, Step: k, Deviation: stepCurrentSpread})
		add(Unknown{What: StepKneeShift, Step: k, Deviation: stepKneeShiftSpread * volts})
	}
	for i, s := range p.MeterRanges {
		p.MeterRanges[i].Gain = add(Unknown{What: Gain, Rectangular: true, Index: i, Deviation: s.Limits.Fraction / math.Sqrt(3)})
		p.MeterRanges[i].Offset = add(Unknown{What: Offset, Rectangular: true, Index: i, Deviation: s.Limits.Counts * s.Limits.Resolution / math.Sqrt(3)})
	}
}

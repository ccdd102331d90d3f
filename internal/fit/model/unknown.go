package model

import (
	"math"

	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// Quantity is the quantity that an unknown represents.
type Quantity int

const (
	JointRail         Quantity = iota // prior.Transform of Ω, of one conductor
	FeedRail                          // the same, at 20 °C
	ReelRail                          // factor on half of the stated Ω/m
	SupplyVolts                       // V without load
	SupplyOhms                        // Ω
	StepVolts                         // V by which a supply differs in one step
	CurrentScale                      // ln of the factor on all channel currents
	StepCurrentScale                  // the same in one step
	CurrentTrend                      // one term of pixel.Adjust.Trend, a smooth change of the currents along the run
	IdleCurrentScale                  // ln of the factor on the idle current
	KneeShift                         // V by which the knees are shifted
	StepKneeShift                     // the same in one step
	KneeStretch                       // ln of the factor on the voltage range over which a channel's current falls
	CopperTemperature                 // °C
	StepTemperature                   // K by which the copper differs in one step
	FeedFollows                       // part of the strip's change of temperature from step to step that the feeds' wire takes
	FeedHeat                          // K by which its own current warms one feed's wire in the run's brightest step
	FoilFactor                        // factor on the stated Ω/m, common to the reels of one strip type
	FoilShare                         // (plus − minus)/(plus + minus) of the rails, common to the reels of one strip type
	UnlistedShare                     // current that something unlisted draws at one place, as a part of the pixels' current
	StepUnlistedScale                 // part by which all unlisted currents differ in one step
	Gain                              // relative gain error of one meter range (or place)
	Offset                            // offset error, V or A
)

// Unknown is one parameter of the fit with its prior, in the unit of its Quantity. Priors of
// resistances are so wide that they hardly change the estimate, but keep the fit finite where there
// are no readings.
type Unknown struct {
	What        Quantity
	Index       int // of the joint, feed, reel, supply, meter range or unlisted current; of CurrentTrend its term
	Step        int // of StepVolts, StepCurrentScale, StepKneeShift, StepTemperature, StepUnlistedScale
	Rail        run.Rail
	WidePrior   bool // the prior only keeps the fit finite
	Rectangular bool // the prior is a rectangular distribution of half-width √3·Deviation
	Mean        float64
	Deviation   float64
}

// inside returns the nearest value at which the network is solved. Beyond it the model is continued
// in a straight line.
func (u *Unknown) inside(v float64) float64 {
	switch u.What {
	case JointRail, FeedRail:
		return prior.Inside(v)
	case ReelRail:
		return math.Max(v, prior.MinFactor)
	case SupplyOhms:
		return math.Max(v, prior.MinTransformed)
	}
	return v
}

// Standard deviations of priors that this package chooses; all are common practice, no source,
// and wide on purpose.
const (
	conductorSpread         = 1.0    // of a transformed conductor: any value from zero to open
	reelSpread              = 0.30   // of the stated resistance
	unstatedReelSpread      = 1.5    // where the strip states none
	voltsSpread             = 0.03   // of a supply's stated volts: the trimmer is set by hand
	stepVoltsSpread         = 0.003  // of its volts, from one step to another
	unstatedOutputOhms      = 0.005  // Ω, of a supply that states none
	currentScaleSpread      = 0.20   // of the channel currents: data sheets state typical ones
	stepCurrentSpread       = 0.10   // of the duty, from one step to another
	currentTrendSpread      = 0.015  // of the currents at the last reel, by a linear change along the run
	currentCurveSpread      = 0.0075 // the same by a curved one, of its largest change
	idleCurrentSpread       = 0.40   // of the idle current
	kneeShiftSpread         = 0.05   // of the rated volts
	stepKneeShiftSpread     = 0.02   // the same, from one step to another
	kneeStretchSpread       = 0.30   // the range may be a third longer or shorter than stated, or of another shape
	unreadTemperatureSpread = 5.3    // K, without temperature readings: some 10 K either way
	readTemperatureSpread   = 1.5    // K, difference between the copper and a thermometer on it
	unreadStepSpread        = 3.5    // K, from one dark step to another
	readStepSpread          = 0.7    // K, the same with temperature readings in the step
	unreadRise              = 2.0    // K, of copper above the stated ambient without temperature readings: current warms it
	litStepRise             = 2.0    // K, of copper in a lit step without temperature readings
	litStepSpread           = 5.0    // K, the same: profile, load and time decide it
	feedFollows             = 0.5    // of a change of the strip's temperature; the feeds lie in a duct or hang free
	feedFollowsSpread       = 0.4    // the same
	feedHeat                = 1.0    // K, by a feed's own current in the run's brightest step
	feedHeatSpread          = 2.0    // the same, and what it takes of the strip's warmth unlike the other feeds
)

// addUnknowns adds the unknowns of the model in a fixed order.
func (m *Model) addUnknowns() {
	r := m.Run
	add := func(u Unknown) int {
		m.Unknowns = append(m.Unknowns, u)
		return len(m.Unknowns) - 1
	}
	rails := func(w Quantity, index int, mean, spread, splits float64) [2]int {
		var at [2]int
		for _, rail := range []run.Rail{run.Plus, run.Minus} {
			at[rail] = add(Unknown{What: w, Index: index, Rail: rail, WidePrior: true, Mean: mean, Deviation: spread})
		}
		m.Splits = append(m.Splits, prior.Split{Rails: at, Transformed: w != ReelRail, ShareAbout: prior.EvenShare, Spread: splits})
		return at
	}
	for i, j := range r.Joints {
		if j.PlusCut {
			minus := add(Unknown{What: JointRail, Index: i, Rail: run.Minus, WidePrior: true, Mean: prior.Transform(j.Ohms / 2), Deviation: conductorSpread})
			m.Joints = append(m.Joints, [2]int{Absent, minus})
			continue
		}
		m.Joints = append(m.Joints, rails(JointRail, i, prior.Transform(j.Ohms/2), conductorSpread, prior.JointSplitSpread))
	}
	for i, f := range r.Feeds {
		spread := prior.FeedSplitSpread
		if f.Ohms == 0 {
			spread = prior.CableSplitSpread
		}
		m.Feeds = append(m.Feeds, rails(FeedRail, i, prior.Transform(f.Ohms/2), conductorSpread, spread))
		m.Splits[len(m.Splits)-1].Wire = f.Ohms
	}
	for i, reel := range r.Reels {
		spread := reelSpread
		if reel.Strip.LoopOhms == 0 {
			spread = unstatedReelSpread
		}
		m.Reels = append(m.Reels, rails(ReelRail, i, 1, spread, prior.ReelSplitSpread))
	}
	m.conductors = len(m.Unknowns)
	m.addFoilPriors(add)
	for i, s := range r.Supplies {
		ohms, spread := s.Ohms, s.Ohms/2+unstatedOutputOhms
		m.Supplies = append(m.Supplies, [2]int{
			add(Unknown{What: SupplyVolts, Index: i, Mean: s.Volts, Deviation: voltsSpread * s.Volts}),
			add(Unknown{What: SupplyOhms, Index: i, Mean: ohms, Deviation: spread}),
		})
	}
	m.bounded = m.BoundedResistances()
	add(Unknown{What: CurrentScale, Deviation: currentScaleSpread})
	// Pixels that differ along the run would otherwise be taken for resistances that differ: an error of
	// the model as a smooth unknown (Kennedy and O'Hagan, J. R. Stat. Soc. B 63 (2001) 425).
	for term, spread := range [pixel.TrendTerms]float64{currentTrendSpread, currentCurveSpread} {
		if term < len(r.Reels)-1 { // fewer reels do not show it
			add(Unknown{What: CurrentTrend, Index: term, Deviation: spread})
		}
	}
	add(Unknown{What: IdleCurrentScale, Deviation: idleCurrentSpread})
	volts := r.Reels[0].Strip.Volts
	add(Unknown{What: KneeShift, Deviation: kneeShiftSpread * volts})
	add(Unknown{What: KneeStretch, Deviation: kneeStretchSpread})
	add(Unknown{What: CopperTemperature, Mean: m.temperature.mean, Deviation: m.temperature.deviation, Rectangular: m.temperature.deviation == unreadTemperatureSpread})
	// Were the feeds to warm as the strip does, their drops would determine its temperature.
	add(Unknown{What: FeedFollows, Mean: feedFollows, Deviation: feedFollowsSpread})
	for i, f := range r.Feeds {
		if ladder.FeedWire(f)*f.TempCo > 0 {
			add(Unknown{What: FeedHeat, Index: i, Mean: feedHeat, Deviation: feedHeatSpread})
		}
	}
	for k, step := range m.Steps {
		warmer, read := m.temperature.step[step]
		deviation := unreadStepSpread
		switch {
		case read:
			deviation = readStepSpread
		case r.Steps[step].Lit():
			warmer, deviation = litStepRise, litStepSpread
		}
		add(Unknown{What: StepTemperature, Step: k, Mean: warmer, Deviation: deviation})
		for i, s := range r.Supplies {
			add(Unknown{What: StepVolts, Index: i, Step: k, Deviation: stepVoltsSpread * s.Volts})
		}
		add(Unknown{What: StepCurrentScale, Step: k, Deviation: stepCurrentSpread})
		add(Unknown{What: StepKneeShift, Step: k, Deviation: stepKneeShiftSpread * volts})
	}
	m.addUnlisted(add)
	for i, s := range m.MeterRanges {
		m.MeterRanges[i].Gain = add(Unknown{What: Gain, Rectangular: true, Index: i, Mean: s.Limits.KnownGain, Deviation: s.Limits.Fraction / math.Sqrt(3)})
		m.MeterRanges[i].Offset = add(Unknown{What: Offset, Rectangular: true, Index: i, Mean: s.Limits.KnownOffset, Deviation: s.Limits.Counts * s.Limits.Resolution / math.Sqrt(3)})
	}
}

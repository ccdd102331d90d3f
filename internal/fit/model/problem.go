// Package model is the least-squares model of a run's readings: the unknowns with their priors,
// the predicted value of each reading, and its derivatives.
//
// The unknowns are both rails of every joint, feed and reel; the supplies' open-circuit voltages
// and output resistances; the pixels' current scale, idle current and knee, for the run and for
// each step; the copper temperature; and the gain and offset error of each meter range. These
// errors are common to all readings of a range: they cancel in differences and do not average
// out. Conductors have priors so wide that one without readings stays unknown. An accuracy figure
// is taken as the half-width a of a rectangular distribution, whose standard uncertainty is a/√3
// (JCGM 100:2008, 4.3.7).
//
// The noise of each meter range has a part in counts and a part proportional to the value.
// Package likelihood estimates both from the residuals; rounding of the written value is added.
// Each step has a duty, supply voltages and a temperature of its own.
//
// Package search finds outliers, open conductors and operator mistakes.
package model

import (
	"slices"

	"ohmkeep/internal/fit/likelihood"
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Observation is one reading that takes part in the fit.
type Observation struct {
	Reading          int // index into the readings given to New
	Step             int // index into Problem.Steps
	From, To         run.Point
	Feed             int     // of a current; Absent for a voltage
	Value            float64 // V or A, corrected for operator mistakes
	RoundingVariance float64 // V² or A², of rounding; of a mean also of its own scatter
	Group            int     // index into NoiseGroups
	Deviation        float64 // standard deviation of its noise, V or A
	MeterRange       int     // index into Problem.MeterRanges
	Excluded         bool    // excluded from the fit
	ExcludedForGood  bool    // the search may not readmit it
}

// MeterRange is one range of a meter, or of one sensor where each place has its own. Its gain and
// offset errors are common to all its readings.
type MeterRange struct {
	Meter, Range int
	place        string // of a sensor with errors of its own; "" for a common meter
	Limits       run.Range
	Gain         int // index of its unknown
	Offset       int // index of its unknown
}

// Problem is the least-squares problem of one run and its readings. It implements
// leastsquares.Model. It holds the states of the last evaluation and must not be used
// concurrently.
type Problem struct {
	Run          *run.Run
	Net          *ladder.Network
	Solvers      []*ladder.Solver // by step
	states       []*State
	gradient     *ladder.Gradient
	row          []float64
	Steps        []int  // the run's steps; the first ReadSteps of them have readings
	ReadSteps    int    // how many steps have readings
	LitStep      []int  // by step: the run's step whose load was lit; another one after a WrongLoad mistake
	DarkReel     int    // index of a reel that stays dark in every step; Absent for none
	unreadSteps  []bool // by step: it has no readings and is not solved; nil where all are solved
	Observations []Observation
	MeterRanges  []MeterRange
	Segment      []float64 // by reel: stated loop resistance of a segment at 20 °C, Ω
	temperature  temperature
	Notes        map[int]string // by reading: why it is not used

	Unknowns             []Unknown
	Joints, Feeds, Reels [][2]int // unknowns by rail
	Splits               []prior.Split
	FoilPriors           []prior.FoilPrior
	Supplies             [][2]int        // unknowns: volts, output ohms
	HeldOpen             []bool          // by unknown: the conductor is held open
	HeldValue            map[int]float64 // by unknown held open: the transformed value to hold it at instead
	pin                  *pin
	bounded              []int     // unknowns that are kept from falling below zero
	Robust               bool      // residuals get the Cauchy loss
	Predicted            []float64 // by observation, of the last evaluation
	NoiseGroups          []NoiseGroup
	Noise                []likelihood.Learned // by group
}

// temperature is the prior of the copper temperature, °C.
type temperature struct {
	mean, deviation float64
	reel, feed      []float64       // K by which each is warmer than the mean
	step            map[int]float64 // the same by step of the run with temperature readings; nil without any
}

// New sets up the problem. It returns an error where a part of the run is connected to no supply.
func New(r *run.Run, readings []reading.Reading) (*Problem, error) {
	p := &Problem{Run: r, DarkReel: Absent, Notes: map[int]string{}}
	p.readTemperature(readings)
	var places []run.Place
	shown := p.digitsWritten(readings)
	for i, x := range readings {
		places = append(places, p.observe(i, x, shown)...)
	}
	p.SetNoise(nil)
	net, err := ladder.New(r, places...)
	if err != nil {
		return nil, err
	}
	p.Net, p.gradient = net, net.NewGradient()
	p.ReadSteps = len(p.Steps)
	for step := range r.Steps {
		p.StepIndex(step)
	}
	p.LitStep = slices.Clone(p.Steps)
	for range p.Steps {
		p.Solvers = append(p.Solvers, net.NewSolver())
		p.states = append(p.states, p.NewState())
	}
	for _, reel := range r.Reels {
		perMetre := reel.Strip.LoopOhms
		if perMetre == 0 {
			perMetre = ladder.AssumedLoopOhms
		}
		p.Segment = append(p.Segment, perMetre*reel.SegmentLength())
	}
	p.addUnknowns()
	p.HeldOpen, p.HeldValue = make([]bool, len(p.Unknowns)), map[int]float64{}
	p.row = make([]float64, len(p.Unknowns))
	p.Predicted = make([]float64, len(p.Observations))
	return p, nil
}

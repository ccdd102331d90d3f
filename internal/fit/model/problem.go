// Package model is the model of a run's readings: what is unknown of the run and what
// is known of it beforehand, what every reading would show for given unknowns, with the
// derivatives, and the least-squares problem that comes of it.
//
// The unknowns are both rails of every joint, feed and reel; the supplies' volts; what
// nobody knows of the pixels (current scale, idle current, knee), for the whole run
// and step by step; the copper's temperature; and each meter range's gain and
// offset error, which are common to its readings, cancel between neighbours and do
// not average out. Resistances have priors so wide that a conductor which no
// reading sees stays unknown. Accuracy figures are limits and taken as the ends of
// an even distribution, so a limit a has the standard uncertainty a/√3 (JCGM
// 100:2008, 4.3.7).
//
// How far readings scatter is no figure of this package either: each meter range has a
// repeatability in counts and a part of the value, which package likelihood learns from the
// residuals, beside rounding to the digits as they were written. Each step has a duty, volts
// of the supplies and a temperature of its own.
//
// The package looks for nothing: which readings are wrong, which conductors open and which
// slips were made is found by package search.
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
	Reading          int // index into the readings given
	Step             int // index into Problem.Steps
	From, To         run.Point
	Feed             int // of a current; Absent for a voltage
	Value            float64
	RoundingVariance float64 // variance of its rounding, and of a mean's own scatter
	Group            int     // of readings that scatter alike
	Deviation        float64 // of what does not repeat
	MeterRange       int     // the meter range it was read on
	Excluded         bool    // left out as contradicting the others
	ExcludedForGood  bool    // for good: no range of its meter shows such a value
}

// Scale is one range of one meter, or of one sensor where every place has its own:
// its gain and offset errors are common to all its readings.
type MeterRange struct {
	Meter, Range int
	place        string
	Limits       run.Range
	Gain         int // unknowns
	Offset       int
}

// Problem is the least-squares problem of one run and its readings; it is a leastsquares.Model.
// What is assumed of it, such as a conductor held open, is set in its fields. It keeps the
// network as it was settled last, so that no two may use it at once.
type Problem struct {
	Run          *run.Run
	Net          *ladder.Network
	Solvers      []*ladder.Solver // by step
	states       []*State
	gradient     *ladder.Gradient
	row          []float64
	Steps        []int  // run steps, those that were read first
	ReadSteps    int    // how many of them
	LitStep      []int  // by step: the run's step whose load was lit in it, itself but for a slip
	unreadSteps  []bool // by step: nothing is read in it after all; nil where all are
	Observations []Observation
	MeterRanges  []MeterRange
	Segment      []float64 // by reel: nominal loop ohms of a segment at 20 °C
	temperature  temperature
	Notes        map[int]string // by reading: why it takes no part

	Unknowns             []Unknown
	Joints, Feeds, Reels [][2]int // by rail
	Splits               []prior.Split
	FoilPriors           []prior.FoilPrior
	Supplies             [][2]int        // volts, ohms
	HeldOpen             []bool          // by unknown: held open
	HeldValue            map[int]float64 // by open unknown: held at this instead
	pin                  *pin
	LastHeldX            []float64 // of the last fit between walls that settled with a pin
	bounded              []int     // conductors that must not fall below zero
	Robust               bool      // far residuals count by their size, not by its square
	Predicted            []float64
	NoiseGroups          []NoiseGroup
	Noise                []likelihood.Learned // by group
}

// temperature is what is known of the copper's, °C.
type temperature struct {
	mean, deviation float64
	reel, feed      []float64       // how much warmer each is than the mean
	step            map[int]float64 // the same by step of the run that a temperature was read in; nil where none was
}

// New sets up the problem. It returns an error where no supply reaches a part of
// the run.
func New(r *run.Run, readings []reading.Reading) (*Problem, error) {
	p := &Problem{Run: r, Notes: map[int]string{}}
	p.readTemperature(readings)
	var places []run.Place
	written := p.writtenResolutions(readings)
	for i, x := range readings {
		places = append(places, p.observe(i, x, written)...)
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

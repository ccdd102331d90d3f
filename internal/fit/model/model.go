// Package model is the least-squares model of a run's readings: the unknowns with their priors,
// the predicted value of each reading, and its derivatives.
//
// The unknowns are both rails of every joint, feed and reel; the supplies' open-circuit voltages
// and output resistances; the pixels' current scale, idle current and knee, for the run and for
// each step; a smooth change of the current along the run; the copper temperature, and what its own
// current adds to that of each feed's wire; and the gain and offset error of each meter range; in some
// models also currents that the run file does not list. Errors of a range are common to all its readings:
// they cancel in differences and do not average out.
// Conductors have priors so wide that one without readings stays unknown. An accuracy figure is taken
// as the half-width a of a rectangular distribution, whose standard uncertainty is a/√3
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
	"sync"

	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Observation is one reading that takes part in the fit. In a Model it is as read; Model.Under
// returns it as a set of assumptions takes it.
type Observation struct {
	Reading          int // index into the readings given to New
	Step             int // index into Model.Steps
	From, To         run.Point
	Feed             int     // of a current; Absent for a voltage
	Value            float64 // V or A
	RoundingVariance float64 // V² or A², of rounding; of a mean also of its own scatter
	Group            int     // index into NoiseGroups; Absent where Deviation is known
	Deviation        float64 // standard deviation of its noise, V or A
	MeterRange       int     // index into Model.MeterRanges: in which the value was displayed
	SmallestRange    int     // index into Model.MeterRanges: which a meter chooses for the value by itself; Absent for a mean or a reading to come
	Repetition       int     // number of the repetition that it belongs to, see findRepetitions; 0 for none
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

// Model is the least-squares model of one run and its readings. It does not change after New and
// may be used concurrently. What a fit supposes besides is in Assumptions.
type Model struct {
	Run          *run.Run
	Net          *ladder.Network
	Steps        []int         // the run's steps; the first ReadSteps of them have readings
	ReadSteps    int           // how many steps have readings
	stepsRead    []bool        // by step: it has observations
	Observations []Observation // as read
	repetitions  int           // how many there are; they are numbered from 1
	MeterRanges  []MeterRange
	coarser      map[int]displayedIn // by smallest range whose readings may have been displayed in a larger one
	Segment      []float64           // by reel: stated loop resistance of a segment at 20 °C, Ω
	temperature  temperature
	Notes        map[int]string // by reading: why it is not used

	Unknowns             []Unknown
	Joints, Feeds, Reels [][2]int // unknowns by rail
	conductors           int      // the first so many unknowns are those
	Splits               []prior.Split
	FoilPriors           []prior.FoilPrior
	Supplies             [][2]int // unknowns: volts, output ohms
	bounded              []int    // unknowns that are kept from falling below zero
	NoiseGroups          []NoiseGroup
	Rough                bool // the readings scatter much further than their meters promise

	places   []run.Place       // of the readings
	unlisted *unlistedCurrents // of something that the run file does not list; nil for nothing

	points *sync.Pool // of *Point: working memory of the network
}

// temperature is the prior of the copper temperature, °C.
type temperature struct {
	mean, deviation float64
	reel, feed      []float64       // K by which each is warmer than the mean
	step            map[int]float64 // the same by step of the run with temperature readings; nil without any
	heatLoad        []float64       // by step of the run: heat that a feed's current makes, as a part of that in the brightest step
}

// New sets up the model. It returns an error where a part of the run is connected to no supply.
func New(r *run.Run, readings []reading.Reading) (*Model, error) {
	m := &Model{Run: r, Notes: map[int]string{}}
	m.readTemperature(readings)
	m.temperature.heatLoad = heatLoads(r)
	var places []run.Place
	shown := m.digitsWritten(readings)
	for i, x := range readings {
		places = append(places, m.observe(i, x, shown)...)
	}
	m.ReadSteps = len(m.Steps)
	for step := range r.Steps {
		m.addStep(step)
	}
	for _, reel := range r.Reels {
		perMetre := reel.Strip.LoopOhms
		if perMetre == 0 {
			perMetre = ladder.AssumedLoopOhms
		}
		m.Segment = append(m.Segment, perMetre*reel.SegmentLength())
	}
	if err := m.layNetwork(places); err != nil {
		return nil, err
	}
	m.addUnknowns()
	m.findRepetitions()
	m.Observations = m.Under(m.Assume())
	m.markSteps()
	return m, nil
}

// markSteps notes which steps have observations.
func (m *Model) markSteps() {
	m.stepsRead = make([]bool, len(m.Steps))
	for _, o := range m.Observations {
		m.stepsRead[o.Step] = true
	}
}

// layNetwork builds the network with nodes at the given places.
func (m *Model) layNetwork(places []run.Place) (err error) {
	m.places = places
	m.Net, err = ladder.New(m.Run, slices.Concat(places, m.unlistedPlaces())...)
	m.points = &sync.Pool{}
	return err
}

// StepIndex returns the index in Steps of a step of the run.
func (m *Model) StepIndex(step int) int { return slices.Index(m.Steps, step) }

// addStep adds a step of the run to Steps if it is new, and returns its index there.
func (m *Model) addStep(step int) int {
	if k := m.StepIndex(step); k >= 0 {
		return k
	}
	m.Steps = append(m.Steps, step)
	return len(m.Steps) - 1
}

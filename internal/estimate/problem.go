package estimate

import (
	"ohmkeep/internal/ladder"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// observation is one reading that takes part in the fit.
type observation struct {
	reading   int // index into the readings given
	step      int // index into problem.steps
	from, to  run.Point
	feed      int // of a current; absent for a voltage
	value     float64
	deviation float64 // of what does not repeat: the last digit
	scale     int     // the meter range it was read on
	out       bool    // left out as contradicting the others
	barred    bool    // for good: no range of its meter shows such a value
}

// scale is one range of one meter, or of one sensor where every place has its own:
// its gain and offset errors are common to all its readings.
type scale struct {
	meter, at int
	place     string
	limits    run.Range
	gain      int // unknowns
	offset    int
}

// problem is the least-squares problem of one run and its readings.
type problem struct {
	run          *run.Run
	net          *ladder.Network
	solvers      []*ladder.Solver // by step
	states       []*state
	gradient     *ladder.Gradient
	row          []float64
	steps        []int  // run steps, those that were read first
	read         int    // how many of them
	unread       []bool // by step: nothing is read in it after all; nil where all are
	observations []observation
	scales       []scale
	segment      []float64 // by reel: nominal loop ohms of a segment at 20 °C
	temperature  temperature
	notes        map[int]string // by reading: why it takes no part

	unknowns             []unknown
	joints, feeds, reels [][2]int // by rail
	splits               []split
	alikes               []alike
	supplies             [][2]int        // volts, ohms
	open                 []bool          // by unknown: held open
	held                 map[int]float64 // by open unknown: held at this instead
	pin                  *pin
	heldX                []float64 // of the last fit between walls that settled with a pin
	walls                []int     // conductors that must not fall below zero
	robust               bool      // far residuals count by their size, not by its square
	predicted            []float64
}

// temperature is what is known of the copper's, °C.
type temperature struct {
	mean, deviation float64
	reel, feed      []float64 // how much warmer each is than the mean
}

// pose sets up the problem. It returns an error where no supply reaches a part of
// the run.
func pose(r *run.Run, readings []reading.Reading) (*problem, error) {
	p := &problem{run: r, notes: map[int]string{}}
	p.readTemperature(readings)
	var places []run.Place
	for i, x := range readings {
		places = append(places, p.observe(i, x)...)
	}
	net, err := ladder.New(r, places...)
	if err != nil {
		return nil, err
	}
	p.net, p.gradient = net, net.NewGradient()
	p.read = len(p.steps)
	for step := range r.Steps {
		p.stepOf(step)
	}
	for range p.steps {
		p.solvers = append(p.solvers, net.NewSolver())
		p.states = append(p.states, p.newState())
	}
	for _, reel := range r.Reels {
		perMetre := reel.Strip.LoopOhms
		if perMetre == 0 {
			perMetre = ladder.AssumedLoopOhms
		}
		p.segment = append(p.segment, perMetre*reel.SegmentLength())
	}
	p.layUnknowns()
	p.open, p.held = make([]bool, len(p.unknowns)), map[int]float64{}
	p.row = make([]float64, len(p.unknowns))
	p.predicted = make([]float64, len(p.observations))
	return p, nil
}

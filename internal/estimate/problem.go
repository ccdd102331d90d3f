package estimate

import (
	"math"

	"ohmkeep/internal/ladder"
	"ohmkeep/internal/leastsquares"
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
	parted               []parting
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

// repeat is the standard deviation of the last digit beside its rounding, in
// counts: a meter's display wanders a little (common practice, no source).
const repeat = 0.3

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

// observe takes reading i into the problem, or notes why not.
func (p *problem) observe(i int, x reading.Reading) []run.Place {
	if x.Quantity == run.Temperature {
		p.notes[i] = "used as the temperature of the copper"
		return nil
	}
	step := p.run.StepIndex(x.Step)
	if step < 0 && len(p.run.Steps) == 1 {
		step = 0
	}
	if step < 0 {
		p.notes[i] = "its step is not known, so nobody can say which load it was read under"
		return nil
	}
	o := observation{reading: i, feed: absent, value: x.Value}
	var places []run.Place
	if x.Quantity == run.Current {
		o.feed = p.run.FeedIndex(x.From)
	} else {
		from, errFrom := p.run.Point(x.From)
		to, errTo := p.run.Point(x.To)
		if errFrom != nil || errTo != nil {
			p.notes[i] = "its points are not in the run"
			return nil
		}
		o.from, o.to = from, to
		places = []run.Place{from.Place, to.Place}
	}
	if x.Quantity == run.Current && o.feed < 0 {
		p.notes[i] = "its feed is not in the run"
		return nil
	}
	meter := max(p.run.MeterIndex(x.Meter), 0)
	at := p.run.Meters[meter].Range(x.Quantity, x.Value)
	if at < 0 { // no range shows this: its unit or decimal point is wrong
		if at = widest(p.run.Meters[meter], x.Quantity); at < 0 {
			p.notes[i] = "its meter has no range for it"
			return nil
		}
		o.out, o.barred = true, true
	}
	limits := p.run.Meters[meter].Ranges[at]
	o.deviation = math.Max(limits.Resolution*math.Sqrt(1.0/12+repeat*repeat), 1e-6)
	place := ""
	if p.run.Meters[meter].Each {
		place = x.From + " " + x.To
	}
	o.scale = p.scaleOf(scale{meter: meter, at: at, place: place, limits: limits})
	o.step = p.stepOf(step)
	p.observations = append(p.observations, o)
	return places
}

// widest is the range of a meter that reaches furthest, or -1.
func widest(m run.Meter, q run.Quantity) int {
	at := -1
	for i, r := range m.Ranges {
		if r.Quantity == q && (at < 0 || r.UpTo > m.Ranges[at].UpTo) {
			at = i
		}
	}
	return at
}

func (p *problem) scaleOf(s scale) int {
	for i, have := range p.scales {
		if have.meter == s.meter && have.at == s.at && have.place == s.place {
			return i
		}
	}
	p.scales = append(p.scales, s)
	return len(p.scales) - 1
}

func (p *problem) stepOf(step int) int {
	for k, have := range p.steps {
		if have == step {
			return k
		}
	}
	p.steps = append(p.steps, step)
	return len(p.steps) - 1
}

// readTemperature sets what is known of the copper's temperature. Elements with
// readings of their own keep their difference from the mean of all readings.
func (p *problem) readTemperature(readings []reading.Reading) {
	r, t := p.run, &p.temperature
	t.reel, t.feed = make([]float64, len(r.Reels)), make([]float64, len(r.Feeds))
	t.mean, t.deviation = r.Ambient, warmthSpread
	sum, n := 0.0, 0
	own := map[string][]float64{}
	for _, x := range readings {
		if x.Quantity == run.Temperature {
			sum += x.Value
			n++
			own[x.From] = append(own[x.From], x.Value)
		}
	}
	if n == 0 {
		return
	}
	t.mean, t.deviation = sum/float64(n), warmthRead
	difference := func(name string) float64 {
		if len(own[name]) == 0 {
			return 0
		}
		mean := 0.0
		for _, v := range own[name] {
			mean += v / float64(len(own[name]))
		}
		return mean - t.mean
	}
	for i, reel := range r.Reels {
		t.reel[i] = difference(reel.Name)
	}
	for i, f := range r.Feeds {
		t.feed[i] = difference(f.Name)
	}
}

// Size makes a problem a leastsquares.Model.
func (p *problem) Size() (residuals, parameters int) {
	residuals = len(p.observations) + len(p.splits) + len(p.alikes) + len(p.walls)
	if p.pin != nil {
		residuals++
	}
	return residuals, len(p.unknowns)
}

// Evaluate writes (measured − predicted)/deviation and derivatives. Readings left
// out have residuals of zero.
func (p *problem) Evaluate(x, residuals []float64, jacobian *leastsquares.Matrix) error {
	if err := p.settleRead(x); err != nil {
		return err
	}
	p.evaluateSplits(x, residuals, jacobian)
	p.evaluateAlikes(x, residuals, jacobian)
	p.evaluateWalls(x, residuals, jacobian)
	p.evaluatePin(x, residuals, jacobian)
	for i := range p.observations {
		o := &p.observations[i]
		row := p.row
		if jacobian != nil {
			row = jacobian.Row(i)
		}
		predicted, err := p.predict(o, x, row)
		if err != nil {
			return err
		}
		p.predicted[i] = predicted
		if o.out {
			residuals[i] = 0
			clear(row)
			continue
		}
		residuals[i] = (o.value - predicted) / o.deviation
		by := -1 / o.deviation
		if p.robust {
			var slope float64
			residuals[i], slope = soften(residuals[i], softFrom)
			by *= slope
		}
		for j := range row {
			row[j] *= by
		}
	}
	return nil
}

// settleRead solves all steps that were read at x.
func (p *problem) settleRead(x []float64) error {
	for k := range p.read {
		if p.unread != nil && p.unread[k] {
			continue
		}
		if err := p.settle(k, x); err != nil {
			return err
		}
	}
	return nil
}

// settle solves step k at x.
func (p *problem) settle(k int, x []float64) error {
	p.set(k, x, p.states[k])
	return p.solvers[k].Solve(&p.states[k].par, p.states[k].loads)
}

// predict gives what the meter should show for an observation at the states that
// Evaluate solved, and the derivatives of that by unknown.
func (p *problem) predict(o *observation, x, row []float64) (float64, error) {
	solver, s := p.solvers[o.step], p.states[o.step]
	var value float64
	var err error
	if o.feed != absent {
		value = solver.FeedAmps(o.feed, run.Plus)
		err = solver.FeedAmpsGradient(o.feed, run.Plus, p.gradient)
	} else {
		value = solver.Potential(o.from) - solver.Potential(o.to)
		err = solver.VoltageGradient(o.from, o.to, p.gradient)
	}
	if err != nil {
		return 0, err
	}
	value += p.chain(o.step, x, s, p.gradient, row)
	if o.scale == absent { // a true value, of no meter
		return value, nil
	}
	sc := p.scales[o.scale]
	slope := 1 + x[sc.gain]
	for j := range row {
		row[j] *= slope
	}
	row[sc.gain] = value
	row[sc.offset] = 1
	return value*slope + x[sc.offset], nil
}

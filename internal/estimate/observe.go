package estimate

import (
	"math"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// repeat is the standard deviation of the last digit beside its rounding, in
// counts: a meter's display wanders a little (common practice, no source).
const repeat = 0.3

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

package plant

import (
	"math"

	"ohmkeep/internal/run"
)

// node numbers a point of the network: pixels along the reels, then junctions, then
// supplies, plus and minus alternating.
func (p *Plant) node(at run.Point) int {
	n := 0
	for i, reel := range p.Run.Reels {
		if at.Kind == run.AtReel && at.Index == i {
			return 2*(n+at.Pixel-1) + int(at.Rail)
		}
		n += reel.Pixels
	}
	if at.Kind == run.AtSupply {
		n += len(p.Run.Junctions)
	}
	return 2*(n+at.Index) + int(at.Rail)
}

// pair returns the nodes of a place.
func (p *Plant) pair(at run.Place) (plus, minus int) {
	plus = p.node(run.Point{Place: at, Rail: run.Plus})
	return plus, plus + 1
}

// solve solves the network with feeds as warm as their currents make them. levels holds the levels of
// each reel, or one entry for all reels.
func (p *Plant) solve(levels ...map[string]float64) error {
	const settled = 0.05 // K
	p.heat = make([]float64, len(p.Run.Feeds))
	for range 20 {
		if err := p.solveAtHeat(levels...); err != nil {
			return err
		}
		before, change := p.heat, 0.0
		p.heat = p.ownHeat()
		for i, k := range p.heat {
			change = math.Max(change, math.Abs(k-before[i]))
		}
		if change < settled {
			p.heat = before // at which the potentials were solved
			return nil
		}
	}
	return errUnsettled
}

// solveAtHeat builds and solves the network with the feeds' own heat as it is.
func (p *Plant) solveAtHeat(levels ...map[string]float64) error {
	r, warm := p.Run, p.Celsius()-20
	if p.net == nil {
		_, top := p.pair(run.Place{Kind: run.AtSupply, Index: len(r.Supplies) - 1})
		p.net = newCircuit(top + 1)
	}
	p.net.clear()
	if p.volts == nil {
		p.volts = make([]float64, len(p.net.fixed))
		for i := 0; i < len(p.volts); i += 2 {
			p.volts[i] = r.Supplies[0].Volts
		}
	}
	join := func(a, b run.Place, ohms Rails) {
		aPlus, aMinus := p.pair(a)
		bPlus, bMinus := p.pair(b)
		p.net.conduct(aPlus, bPlus, ohms.Plus)
		p.net.conduct(aMinus, bMinus, ohms.Minus)
	}
	at := func(reel, pixel int) run.Place { return run.Place{Kind: run.AtReel, Index: reel, Pixel: pixel} }
	for i, reel := range r.Reels {
		law := p.pixels.law(reel.Strip, levels[i%len(levels)])
		for k := 1; k <= reel.Pixels; k++ {
			plus, minus := p.pair(at(i, k))
			p.net.loads = append(p.net.loads, load{plus: plus, minus: minus, law: law, factor: p.factors[i][k-1]})
			if k < reel.Pixels {
				along := (float64(k)-0.5)/float64(reel.Pixels-1)*2 - 1 // −1 at the start, 1 at the end
				factor := reel.SegmentLength() * (1 + copperTempCo*warm) * (1 + p.thins[i]*along)
				join(at(i, k), at(i, k+1), Rails{p.Reels[i].Plus * factor, p.Reels[i].Minus * factor})
			}
		}
	}
	for i, j := range r.Joints {
		join(at(j.From, r.Reels[j.From].Pixels), at(j.To, 1), p.Joints[i])
	}
	for i, f := range r.Feeds {
		join(f.From, f.To, p.warmFeed(i))
	}
	for i, s := range p.Supplies {
		plus, minus := p.pair(run.Place{Kind: run.AtSupply, Index: i})
		p.net.supply(plus, minus, s.Volts-p.by.Sag*float64(p.step), s.Ohms)
	}
	_, ground := p.pair(run.Place{Kind: run.AtSupply})
	p.net.fixed[ground].diagonal += 1e3 // S, holds the first supply's minus at zero
	return p.net.solve(p.volts)
}

// Volts is the true voltage between two points in the step that was set.
func (p *Plant) Volts(from, to run.Point) float64 { return p.volts[p.node(from)] - p.volts[p.node(to)] }

// Amps is the true current in the plus of a feed, towards the strip.
func (p *Plant) Amps(feed int) float64 {
	f, ohms := p.Run.Feeds[feed], p.warmFeed(feed).Plus
	if math.IsInf(ohms, 1) {
		return 0
	}
	return p.Volts(run.Point{Place: f.From}, run.Point{Place: f.To}) / ohms
}

// True is the true value of what a reading reads, whose names must be those of the run; a
// temperature is that of the strip's copper.
func (p *Plant) True(q run.Quantity, from, to string) float64 {
	switch q {
	case run.Current:
		return p.Amps(p.Run.FeedIndex(from))
	case run.Temperature:
		if i := p.Run.FeedIndex(from); i >= 0 {
			return p.feedCelsius(i)
		}
		return p.Celsius()
	}
	a, _ := p.Run.Point(from)
	b, _ := p.Run.Point(to)
	return p.Volts(a, b)
}

package estimate

import (
	"math"

	"ohmkeep/internal/leastsquares"
	"ohmkeep/internal/verdict"
)

// An open conductor is a hypothesis of its own: the sum of squares has a valley
// between "bad" and "open" in which a fit that began at a sound joint stops.
const (
	// openMaybe is the loop resistance, Ω, from which an element is asked whether it is
	// open although the readings are explained; a long feed has as much and is asked from
	// twice what is stated.
	openMaybe = 0.25
	// openGain is by how much the sum of squares must fall to call a conductor open
	// that nothing else suggests: 10 is a likelihood ratio of 150.
	openGain = 10.0
	// openCost is by how much it may rise where the element has openMaybe or more:
	// "open" says the same as "some ohms" with one number less.
	openCost = 2.0
	// openSure is how many standard deviations such an element must lie from none.
	openSure = 1.6
	// reelOdd is how many times thicker or thinner than stated no reel's copper is
	// (common practice, no source).
	reelOdd = 2.5
	// openCharge is what an open conductor adds to the last account: it may cost openCost,
	// having saved openGain in withOpens before, against the fit or a sound element.
	openCharge = -openCost
	mostOpens  = 3  // that are looked for
	glance     = 15 // steps of a first trial
)

// parting is one conductor that is held open.
type parting struct {
	at       int     // unknown
	split    int     // of its element, left out while it is open
	excluded float64 // Ω: less than this the readings exclude
	told     bool    // the readings tell that it is this rail and not the other
}

// partingOf gives the parting of an element, by its split.
func (p *problem) partingOf(split int) (parting, bool) {
	for _, c := range p.parted {
		if c.split == split {
			return c, true
		}
	}
	return parting{}, false
}

// withOpens looks for conductors that are open and refits with them so.
func (p *problem) withOpens(fit *leastsquares.Fit) *leastsquares.Fit {
	for range mostOpens {
		scores := map[int]float64{}
		var best parting
		var bestFit *leastsquares.Fit
		bestScore := 0.0
		for _, c := range p.partings(fit) {
			trial, err := p.tryOpen(c, fit, glance)
			if err != nil {
				continue // such an open leaves part of the run without supply
			}
			score := fit.SumSquares - trial.SumSquares - openGain
			if p.much(c, fit) && score > -openGain-openCost {
				score = p.soundSquares(c, fit) - trial.SumSquares - openGain
			}
			scores[c.at] = score
			if score > bestScore {
				best, bestFit, bestScore = c, trial, score
			}
		}
		if bestFit == nil {
			break
		}
		best.told = true
		for _, other := range p.splits[best.split].at {
			if s, tried := scores[other]; tried && other != best.at && s > bestScore-openGain/2 {
				best.told = false
			}
		}
		p.hold(best)
		p.parted = append(p.parted, best)
		if settled, err := p.solve(bestFit.X); err == nil {
			bestFit = settled
		}
		fit = bestFit
	}
	return fit
}

// partings lists the conductors worth asking: all of them where the readings are
// not explained, or only by a reel that cannot be, otherwise those of elements with much
// resistance.
func (p *problem) partings(fit *leastsquares.Fit) []parting {
	poor := !fit.Converged || p.pValue(fit) < misfit || p.farFetched(fit)
	var list []parting
	for s := range p.splits {
		if !p.splits[s].bent {
			continue
		}
		for _, at := range p.splits[s].at {
			c := parting{at: at, split: s}
			if p.splits[s].idle || !poor && !p.much(c, fit) {
				continue
			}
			list = append(list, c)
		}
	}
	return list
}

// farFetched tells whether a fit has a reel of less or more copper than any strip is sold
// with: behind an open feed, a reel of no resistance at all explains its level voltages.
func (p *problem) farFetched(fit *leastsquares.Fit) bool {
	for i, at := range p.reels {
		if p.run.Reels[i].Strip.LoopOhms == 0 {
			continue
		}
		if half := (fit.X[at[0]] + fit.X[at[1]]) / 2; half < 1/reelOdd || half > reelOdd {
			return true
		}
	}
	return false
}

// much tells whether an element surely has so much resistance that it may be open.
func (p *problem) much(c parting, fit *leastsquares.Fit) bool {
	t, row := loop(p.splits[c.split].at, fit.X)
	stated := 0.0
	for _, at := range p.splits[c.split].at {
		stated += unbend(p.unknowns[at].mean)
	}
	if t < bend(max(openMaybe, 2*stated)) || fit.Covariance == nil {
		return false
	}
	return t > openSure*math.Sqrt(math.Max(quadratic(fit.Covariance, row), 0))
}

// soundSquares is the sum of squares with both rails of an element as stated.
func (p *problem) soundSquares(c parting, fit *leastsquares.Fit) float64 {
	near := append([]float64(nil), fit.X...)
	for _, at := range p.splits[c.split].at {
		p.open[at], p.held[at] = true, p.unknowns[at].mean
		near[at] = p.unknowns[at].mean
	}
	sound, err := p.solve(near)
	for _, at := range p.splits[c.split].at {
		p.open[at] = false
		delete(p.held, at)
	}
	if err != nil {
		return math.Inf(1)
	}
	return sound.SumSquares
}

// tryOpen fits with one more conductor open, from where the fit is. Most conductors
// that are not open show that within a few steps.
func (p *problem) tryOpen(c parting, fit *leastsquares.Fit, most int) (*leastsquares.Fit, error) {
	p.hold(c)
	defer p.release(c)
	near := p.start()
	for j, u := range p.unknowns {
		if !u.vague && u.what != foilShare {
			near[j] = fit.X[j]
		}
	}
	near[c.at] = unbendMost
	return p.solveWithin(near, most)
}

func (p *problem) hold(c parting)    { p.open[c.at], p.splits[c.split].idle = true, true }
func (p *problem) release(c parting) { p.open[c.at], p.splits[c.split].idle = false, false }

// excluded is the least resistance, Ω, that an open conductor must have: below it
// the sum of squares rises by that of a 95 % interval.
func (p *problem) excluded(c parting, fit *leastsquares.Fit) float64 {
	const rise = verdict.Coverage95 * verdict.Coverage95
	defer delete(p.held, c.at)
	low, high := 0.0, unbendMost
	for range 12 {
		middle := (low + high) / 2
		p.held[c.at] = middle
		near := append([]float64(nil), fit.X...)
		near[c.at] = middle
		trial, err := p.solve(near)
		if err == nil && trial.SumSquares < fit.SumSquares+rise {
			high = middle
		} else {
			low = middle
		}
	}
	return unbend(high)
}

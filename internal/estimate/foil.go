package estimate

import (
	"math"

	"ohmkeep/internal/assessment"
	"ohmkeep/internal/leastsquares"
	"ohmkeep/internal/run"
)

// Reels of one strip are much alike: what one has over the stated figure the others have
// too, and where its plus has more copper than its minus, so have theirs. Without that
// knowledge a bad minus joint between two feeds can be explained away by a minus foil of
// 84 % before it and one of 117 % behind. What they have in common is two unknowns, a
// factor on the stated Ω/m and how it is shared; each reel lies about them. One reel of
// another stock is a thing that happens, so that the loss of its factor is Cauchy's.
//
// A reel's own estimate and verdict are free of this: "the others are good" is no reading.
// So is what is promised of reels that were not read, see sober.
const (
	foilSpread = 0.10  // of a reel's factor about that of its foil (common practice, no source)
	foilTail   = 1.5   // deviations from which a reel may as well be of another stock
	foilShares = 0.025 // of a reel's share between its rails about its foil's (the same)
)

// alike is what is known beforehand of a reel's factor from its foil.
type alike struct {
	reel  int
	rails [2]int // unknowns
	whole int    // the foil's factor
	idle  bool   // left out
}

// layFoils adds the unknowns of each strip that several reels are of, with the knowledge
// of each such reel.
func (p *problem) layFoils(add func(unknown) int) {
	type kind struct{ ohms, perMetre, volts float64 }
	of := func(i int) kind {
		s := p.run.Reels[i].Strip
		return kind{s.LoopOhms, s.PixelsPerMetre, s.Volts}
	}
	reels := map[kind]int{}
	for i := range p.run.Reels {
		reels[of(i)]++
	}
	type foil struct{ whole, share int }
	foils := map[kind]foil{}
	for i := range p.run.Reels {
		k := of(i)
		if reels[k] < 2 {
			continue
		}
		f, laid := foils[k]
		if !laid {
			f.whole = add(unknown{what: foilFactor, vague: true, mean: 1, deviation: p.unknowns[p.reels[i][run.Plus]].deviation})
			f.share = add(unknown{what: foilShare, deviation: 2 * reelSplits})
			foils[k] = f
		}
		p.alikes = append(p.alikes, alike{reel: i, rails: p.reels[i], whole: f.whole})
		s := &p.splits[p.splitOfReel(i)]
		s.about, s.spread = f.share, foilShares
	}
}

// splitOfReel is the place of a reel's split, behind those of joints and feeds.
func (p *problem) splitOfReel(reel int) int { return len(p.splits) - len(p.reels) + reel }

// residual is how far a reel lies from its foil, in deviations, softened, and its
// derivatives by the unknowns it depends on.
func (a alike) residual(x []float64) (z float64, rails, whole float64) {
	if a.idle {
		return 0, 0, 0
	}
	factor, half := math.Max(x[a.whole], factorLeast), (x[a.rails[0]]+x[a.rails[1]])/2
	z, slope := lighten((half/factor-1)/foilSpread, foilTail)
	rails = slope / (2 * factor * foilSpread)
	if x[a.whole] > factorLeast {
		whole = -slope * half / (factor * factor * foilSpread)
	}
	return z, rails, whole
}

// row writes the derivatives by all unknowns.
func (a alike) row(x, row []float64) (z float64) {
	z, rails, whole := a.residual(x)
	clear(row)
	row[a.rails[0]], row[a.rails[1]], row[a.whole] = rails, rails, whole
	return z
}

// evaluateAlikes writes what is known of reels behind the residuals of the splits.
func (p *problem) evaluateAlikes(x, residuals []float64, jacobian *leastsquares.Matrix) {
	first := len(p.observations) + len(p.splits)
	for i, a := range p.alikes {
		if jacobian == nil {
			residuals[first+i], _, _ = a.residual(x)
			continue
		}
		residuals[first+i] = a.row(x, jacobian.Row(first+i))
	}
}

// alone is the estimate as an element has it: for a reel without what is known of it from
// the other reels of its strip, in the linear model at the fit; the estimate itself for
// anything else. Until done is called the problem leaves that knowledge out too.
func (e *Estimate) alone(kind assessment.Kind, index int) (view *Estimate, done func()) {
	if kind != assessment.Reel || e.covariance == nil {
		return e, func() {}
	}
	for i := range e.problem.alikes {
		a := &e.problem.alikes[i]
		if a.reel != index || a.idle {
			continue
		}
		v := *e
		row := make([]float64, len(e.x))
		z := a.row(e.x, row)
		along := times(e.covariance, row)
		rest := 1 - dot(row, along) // what of the reel's knowledge is not from its foil
		if !(rest > 1e-9) {
			return e, func() {}
		}
		v.x, v.covariance, v.within, v.nowhere = append([]float64(nil), e.x...), e.covariance.Clone(), nil, false
		for j, c := range along {
			v.x[j] += c * z / rest
			to := v.covariance.Row(j)
			for k, d := range along {
				to[k] += c * d / rest
			}
		}
		v.Fit.ChiSquared -= z * z / rest
		a.idle = true
		return &v, func() { a.idle = false }
	}
	return e, func() {}
}

// sober is the estimate without what is known from the others of reels that no reading
// tells of. What is promised of a run, such as the light at its far end, is drawn from it.
func (e *Estimate) sober() *Estimate {
	v := e
	for i := range e.Elements {
		if x := &e.Elements[i]; x.Kind == assessment.Reel && x.Rail == assessment.Loop && !x.Known {
			view, done := v.alone(x.Kind, x.Index)
			done()
			v = view
		}
	}
	return v
}

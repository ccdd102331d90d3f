package estimate

import (
	"math"

	"ohmkeep/internal/assessment"
	"ohmkeep/internal/leastsquares"
)

// Reels of one strip are much alike: what one has over the stated figure the others have
// too, and where its plus has more copper than its minus, so have theirs. Without that
// knowledge a bad minus joint between two feeds can be explained away by a minus foil of
// 84 % before it and one of 117 % behind. What they have in common is two unknowns, a
// factor on the stated Ω/m and how it is shared; each reel lies about them. That one reel is
// of another stock is a thing that happens, so that its square is a light one (lighten).
//
// "The others are good" is no reading, though: a reel that its own readings tell nothing of
// is not held to be like them (unlike), its own belief is without them (alone), and how like
// they are is no part of whether the readings are explained (chiSquared).
const (
	foilSpread = 0.10   // of a reel's factor about that of its foil (common practice, no source)
	foilTail   = 1.5    // deviations from which on a square grows like its root
	foilShares = 0.0175 // of a reel's share between its rails about its foil's (the same)
)

// alike is what is known beforehand of a reel's factor from its foil.
type alike struct {
	reel  int
	rails [2]int // unknowns
	whole int    // the foil's factor
	idle  bool   // left out
}

// layFoils adds the unknowns of each strip that several reels are of, with the knowledge
// of each such reel. A strip that states no Ω/m may be any, so that it is none.
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
		if reels[k] < 2 || k.ohms == 0 {
			continue
		}
		f, laid := foils[k]
		if !laid {
			f.whole = add(unknown{what: foilFactor, mean: 1, deviation: reelSpread})
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

// chiSquared is a fit's sum of squares but for how like its reels are.
func (p *problem) chiSquared(fit *leastsquares.Fit) float64 {
	first, sum := len(p.observations)+len(p.splits), fit.SumSquares
	for i := range p.alikes {
		sum -= fit.Residuals[first+i] * fit.Residuals[first+i]
	}
	return math.Max(sum, 0)
}

// pValue is the probability of a fit that explains the readings no better.
func (p *problem) pValue(fit *leastsquares.Fit) float64 {
	return chiSquaredTail(p.chiSquared(fit), p.freedom(fit))
}

// unlike leaves out what is known from their foil of those reels that their own readings
// tell nothing of: one of them may be of another stock, and a joint beside it must not pay
// for that. It gives where a fit without that knowledge may begin; nil where nothing was
// left out.
func (p *problem) unlike(fit *leastsquares.Fit) (start []float64) {
	if fit.Covariance == nil {
		return nil
	}
	e := &Estimate{problem: p, x: fit.X, covariance: fit.Covariance}
	row := make([]float64, len(fit.X))
	var unread []*alike
	for i, a := range p.alikes {
		clear(row)
		row[a.rails[0]], row[a.rails[1]] = 1, 1
		v, done := e.alone(assessment.Reel, a.reel)
		done()
		if quadratic(v.covariance, row) >= tells*tells*e.before(row) {
			unread = append(unread, &p.alikes[i])
		}
	}
	if unread == nil {
		return nil
	}
	e = &Estimate{problem: p, x: append([]float64(nil), fit.X...), linear: fit.X, covariance: fit.Covariance.Clone()}
	for _, a := range unread {
		e.drop(a)
		a.idle = true
	}
	return e.x
}

// drop takes what is known of a reel from its foil out of an estimate, which must own its
// unknowns and covariance, in the linear model at the fit, and leaves it idle. It returns
// false, having changed nothing, where nothing else tells of the reel.
func (e *Estimate) drop(a *alike) bool {
	row := make([]float64, len(e.x))
	z := a.row(e.linear, row)
	for j, d := range row {
		z += d * (e.x[j] - e.linear[j]) // as the linear model has it
	}
	along := times(e.covariance, row)
	rest := 1 - dot(row, along) // what of the reel's knowledge is not from its foil
	if !(rest > 1e-9) {
		return false
	}
	for j, c := range along {
		e.x[j] += c * z / rest
		to := e.covariance.Row(j)
		for k, d := range along {
			to[k] += c * d / rest
		}
	}
	e.sum -= z * z / rest
	a.idle = true
	return true
}

// alone is the estimate as an element has it: for a reel without what is known of it from
// the other reels of its strip, in the linear model at the fit; the estimate itself for
// anything else. Until done is called the problem, and so every estimate of it, leaves that
// knowledge out too.
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
		if v.linear == nil {
			v.linear = e.x
		}
		v.x, v.covariance, v.within, v.nowhere = append([]float64(nil), e.x...), e.covariance.Clone(), nil, false
		if !v.drop(a) {
			return e, func() {}
		}
		return &v, func() { a.idle = false }
	}
	return e, func() {}
}

package estimate

import (
	"ohmkeep/internal/leastsquares"
)

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

// unlike leaves out what is known from their foil of those reels that their own readings
// tell nothing of: one of them may be of another stock, and a joint beside it must not pay
// for that. It gives where a fit without that knowledge may begin; nil where nothing was
// left out.
func (p *problem) unlike(fit *leastsquares.Fit) (start []float64) {
	if fit.Covariance == nil {
		return nil
	}
	l := p.linearAt(fit)
	row := make([]float64, len(fit.X))
	var unread []*alike
	for i, a := range p.alikes {
		clear(row)
		row[a.rails[0]], row[a.rails[1]] = 1, 1
		alone, done, _ := l.alone(a.reel)
		done()
		if !alone.told(row) {
			unread = append(unread, &p.alikes[i])
		}
	}
	if unread == nil {
		return nil
	}
	l = l.own()
	for _, a := range unread {
		l.drop(a)
		a.idle = true
	}
	return l.x
}

// evaluateSplits writes the splits' residuals behind those of the observations.
func (p *problem) evaluateSplits(x, residuals []float64, jacobian *leastsquares.Matrix) {
	n := len(p.observations)
	row := p.row
	for i, s := range p.splits {
		if jacobian != nil {
			row = jacobian.Row(n + i)
		}
		residuals[n+i] = s.row(x, row)
	}
}

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

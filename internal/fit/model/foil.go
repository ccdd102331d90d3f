package model

import (
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
)

// layFoils adds the unknowns of each strip that several reels are of, with the knowledge
// of each such reel. A strip that states no Ω/m may be any, so that it is none.
func (p *Problem) addFoilPriors(add func(Unknown) int) {
	type kind struct{ ohms, perMetre, volts float64 }
	of := func(i int) kind {
		s := p.Run.Reels[i].Strip
		return kind{s.LoopOhms, s.PixelsPerMetre, s.Volts}
	}
	reels := map[kind]int{}
	for i := range p.Run.Reels {
		reels[of(i)]++
	}
	type foil struct{ whole, share int }
	foils := map[kind]foil{}
	for i := range p.Run.Reels {
		k := of(i)
		if reels[k] < 2 || k.ohms == 0 {
			continue
		}
		f, laid := foils[k]
		if !laid {
			f.whole = add(Unknown{What: FoilFactor, Mean: 1, Deviation: reelSpread})
			f.share = add(Unknown{What: FoilShare, Deviation: 2 * prior.ReelSplitSpread})
			foils[k] = f
		}
		p.FoilPriors = append(p.FoilPriors, prior.FoilPrior{Reel: i, Rails: p.Reels[i], FoilFactor: f.whole})
		s := &p.Splits[p.splitOfReel(i)]
		s.ShareAbout, s.Spread = f.share, prior.FoilShareSpread
	}
}

// splitOfReel is the place of a reel's split, behind those of joints and feeds.
func (p *Problem) splitOfReel(reel int) int { return len(p.Splits) - len(p.Reels) + reel }

// evaluateAlikes writes what is known of reels behind the residuals of the splits.
func (p *Problem) evaluateFoilPriors(x, residuals []float64, jacobian *leastsquares.Matrix) {
	first := len(p.Observations) + len(p.Splits)
	for i, a := range p.FoilPriors {
		if jacobian == nil {
			residuals[first+i], _, _ = a.Residual(x)
			continue
		}
		residuals[first+i] = a.Row(x, jacobian.Row(first+i))
	}
}

package model

import (
	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
)

// addFoilPriors adds the unknowns of each strip type that several reels have in common, and the
// foil prior of each such reel. A strip without stated Ω/m gets none.
func (m *Model) addFoilPriors(add func(Unknown) int) {
	type kind struct{ ohms, perMetre, volts float64 }
	of := func(i int) kind {
		s := m.Run.Reels[i].Strip
		return kind{s.LoopOhms, s.PixelsPerMetre, s.Volts}
	}
	reels := map[kind]int{}
	for i := range m.Run.Reels {
		reels[of(i)]++
	}
	type foil struct{ whole, share int }
	foils := map[kind]foil{}
	for i := range m.Run.Reels {
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
		m.FoilPriors = append(m.FoilPriors, prior.FoilPrior{Reel: i, Rails: m.Reels[i], FoilFactor: f.whole})
		s := &m.Splits[m.splitOfReel(i)]
		s.ShareAbout, s.Spread = f.share, prior.FoilShareSpread
	}
}

// splitOfReel is the index of a reel's split, after those of joints and feeds.
func (m *Model) splitOfReel(reel int) int { return len(m.Splits) - len(m.Reels) + reel }

// evaluateFoilPriors writes the residuals of the foil priors after those of the splits.
func (p *problem) evaluateFoilPriors(x, residuals []float64, jacobian *leastsquares.Matrix) {
	first := len(p.observations) + len(p.Splits)
	for i, a := range p.FoilPriors {
		var z float64
		var by prior.Derivatives
		if !p.NoFoilPrior[i] {
			z, by = a.Residual(x)
		}
		residuals[first+i] = z
		writeRow(jacobian, first+i, &by)
	}
}

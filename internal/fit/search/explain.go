package search

import (
	"slices"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/prior"
)

// findExplanations returns the explanations of the readings that are worth comparing: outliers
// alone, outliers and open conductors, and operator mistakes with either. Open conductors and
// mistakes are tried where outliers alone leave the readings unexplained. first is a fit to all
// readings.
func findExplanations(first explanation) ([]explanation, error) {
	plain, err := first.withoutOutliers()
	if err != nil {
		return nil, err
	}
	plain = plain.solveLonger() // what has not converged is not explained
	list := []explanation{plain}
	explained := plain.explained()
	if !explained {
		list = append(list, withMistakes(first, plain)...)
		if best, _ := bestOf(list); best.settles(plain) {
			return list, nil
		}
	}
	if opened, found := plain.withOpens(first); found {
		list = append(list, opened)
		if explained && !opened.explained() {
			list = append(list, withMistakes(first, plain)...)
		}
	}
	return list, nil
}

// settles reports whether mistakes in single steps explain what is improbable without them. Open
// conductors alone are then not tried: they are open in every step, so that they do not explain what is
// wrong with one, and a fit to readings that contradict each other takes many times longer.
func (e explanation) settles(plain explanation) bool {
	mistakes := e.Assumptions.Mistakes
	return len(mistakes) > 0 && !slices.ContainsFunc(mistakes, func(x model.Mistake) bool { return !x.OfSteps() }) &&
		plain.score()-e.score() > settlingMargin && e.leastPValue() >= model.MinPValue
}

// settlingMargin is by how much mistakes must lower the score: as much as four wrong readings.
const settlingMargin = 4 * wrongReading

// withOpens returns an explanation with open conductors besides, and whether there is one. Where the
// readings are explained without, only elements of a high resistance are tried. first is a fit to all
// readings with the same mistakes corrected.
func (e explanation) withOpens(first explanation) (opened explanation, found bool) {
	explained := e.explained()
	candidates := e.openCandidates(!explained)
	if explained { // then the noise is known
		if len(candidates) == 0 {
			return e, false
		}
		var err error
		a := first.Assumptions
		a.Noise = e.Assumptions.Noise
		if first, err = first.solve(a, e.X); err != nil {
			return e, false
		}
	}
	opened = first.withOpenConductors(candidates)
	if len(opened.open) == 0 {
		return e, false
	}
	opened, err := opened.withoutOutliers()
	if err != nil {
		return e, false
	}
	opened = opened.withoutNeedlessOpens()
	return opened, len(opened.open) > 0
}

// withoutNeedlessOpens releases each open conductor where a sound one explains the readings better.
// A bad plus and an open minus may give the same readings, and a fit that starts at a sound joint
// finds only the open minus.
func (e explanation) withoutNeedlessOpens() explanation {
	for i := 0; i < len(e.open); {
		c := e.open[i]
		near := slices.Clone(e.X)
		near[c.Unknown] = e.Model.Unknowns[c.Unknown].Mean
		fewer := explanation{Fit: e.Fit, open: slices.Delete(slices.Clone(e.open), i, i+1)}
		trial, err := fewer.solve(e.Assumptions.Releasing(c.Unknown), near)
		if err == nil && trial.X[c.Unknown] < prior.Transform(minHighOhms) && trial.score() < e.score() {
			e = trial
			continue
		}
		i++
	}
	return e
}

package estimate

import "ohmkeep/internal/leastsquares"

// Where a fit may end, in squared standard uncertainties.
const (
	slack = 0.01 // a tenth of a deviation is left to win, in one direction at most
	rough = 0.1  // of a robust fit, which only has to find the gross readings
)

// options says when a fit may end.
func (p *problem) options(most int) leastsquares.Options {
	o := leastsquares.Options{Tolerance: 1e-10, Slack: slack, MaxIterations: most}
	if p.robust {
		o.Slack = rough
	}
	return o
}

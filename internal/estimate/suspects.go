package estimate

import (
	"math"

	"ohmkeep/internal/leastsquares"
)

// A reading is left out where it lies further from what all the others say than
// suspectAt standard deviations, and taken back where it comes within readmitAt
// once the worse ones are gone. Four sigmas are one good reading in 16,000.
const (
	suspectAt = 4.0
	readmitAt = 3.5
)

// withoutSuspects refits without the readings that contradict the others, the
// worst one first.
func (p *problem) withoutSuspects(fit *leastsquares.Fit) (*leastsquares.Fit, error) {
	most := len(p.observations)/4 + 1
	for range most {
		worst, at := 0.0, -1
		for i := range p.observations {
			if p.observations[i].out {
				continue
			}
			if z := math.Abs(p.standardised(i, fit)); z > worst {
				worst, at = z, i
			}
		}
		if worst <= suspectAt {
			break
		}
		p.observations[at].out = true
		next, err := p.solve(fit.X)
		if err != nil {
			return nil, err
		}
		fit = next
	}
	return p.readmit(fit)
}

func (p *problem) readmit(fit *leastsquares.Fit) (*leastsquares.Fit, error) {
	back := false
	for i := range p.observations {
		o := &p.observations[i]
		if o.out && math.Abs(p.standardised(i, fit)) < readmitAt {
			o.out = false
			back = true
		}
	}
	if !back {
		return fit, nil
	}
	return p.solve(fit.X)
}

// standardised is the difference of a reading from what the other readings say,
// over the standard deviation of that difference. For a reading in the fit that is
// its residual over √(1 − leverage); 0 where nothing but the reading itself tells.
func (p *problem) standardised(i int, fit *leastsquares.Fit) float64 {
	o := &p.observations[i]
	if !o.out {
		rest := 1 - quadratic(fit.Covariance, fit.Jacobian.Row(i))
		if rest < 1e-6 {
			return 0
		}
		return fit.Residuals[i] / math.Sqrt(rest)
	}
	predicted, err := p.predict(o, fit.X, p.row)
	if err != nil {
		return 0
	}
	spread := quadratic(fit.Covariance, p.row) + o.deviation*o.deviation
	return (o.value - predicted) / math.Sqrt(spread)
}

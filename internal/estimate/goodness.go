package estimate

import (
	"math"
	"ohmkeep/internal/leastsquares"
)

// sumAt is the sum of squares at x, priors included.
func (p *problem) sumAt(x []float64) (float64, error) {
	n, _ := p.Size()
	residuals := make([]float64, n)
	if err := p.Evaluate(x, residuals, nil); err != nil {
		return 0, err
	}
	sum := dot(residuals, residuals)
	for i := range p.unknowns {
		mean, deviation := p.priorOf(i)
		z := (x[i] - mean) / deviation
		sum += z * z
	}
	return sum, nil
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

// freedom is the number of degrees of freedom. Knowledge beforehand is a reading
// that costs its unknown one degree of freedom, so what is left is the readings and
// splits; but a vague prior is no reading, and its unknown costs as much as the
// readings determine it.
func (p *problem) freedom(fit *leastsquares.Fit) int {
	n := 0.0
	for _, s := range p.splits {
		if !s.idle {
			n++
		}
	}
	for _, o := range p.observations {
		if !o.out {
			n++
		}
	}
	for j, u := range p.unknowns {
		if u.vague && !p.open[j] && fit.Covariance != nil {
			n -= 1 - fit.Covariance.At(j, j)/(u.deviation*u.deviation)
		}
	}
	return max(0, int(math.Round(n)))
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

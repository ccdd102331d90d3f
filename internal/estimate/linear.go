package estimate

import (
	"math"

	"ohmkeep/internal/leastsquares"
)

// linear is a problem near a fit, where every reading is a linear function of the unknowns.
type linear struct {
	problem    *problem
	x          []float64 // the best estimate
	about      []float64 // where the derivatives are of; nil: x
	covariance *leastsquares.Matrix
	sum        float64 // of squares, all knowledge beforehand included
}

// linearAt is the linear model at a fit.
func (p *problem) linearAt(fit *leastsquares.Fit) linear {
	return linear{problem: p, x: fit.X, covariance: fit.Covariance, sum: fit.SumSquares}
}

// own is a copy with unknowns and a covariance of its own.
func (l linear) own() linear {
	if l.about == nil {
		l.about = l.x
	}
	l.x, l.covariance = append([]float64(nil), l.x...), l.covariance.Clone()
	return l
}

// drop takes what is known of a reel from its foil out of the estimate, which must be its own,
// and leaves it idle. It returns false, having changed nothing, where nothing else tells of
// the reel.
func (l *linear) drop(a *alike) bool {
	row := make([]float64, len(l.x))
	z := a.row(l.about, row)
	for j, d := range row {
		z += d * (l.x[j] - l.about[j]) // as the linear model has it
	}
	along := times(l.covariance, row)
	rest := 1 - dot(row, along) // what of the reel's knowledge is not from its foil
	if !(rest > 1e-9) {
		return false
	}
	for j, c := range along {
		l.x[j] += c * z / rest
		to := l.covariance.Row(j)
		for k, d := range along {
			to[k] += c * d / rest
		}
	}
	l.sum -= z * z / rest
	a.idle = true
	return true
}

// alone is the linear model without what is known of a reel from the other reels of its
// strip; false where there is no such knowledge, or nothing else tells of the reel. Until
// done is called the problem, and so every linear model of it, leaves that knowledge out too.
func (l linear) alone(reel int) (view linear, done func(), ok bool) {
	for i := range l.problem.alikes {
		a := &l.problem.alikes[i]
		if a.reel != reel || a.idle {
			continue
		}
		view = l.own()
		if !view.drop(a) {
			break
		}
		return view, func() { a.idle = false }, true
	}
	return l, func() {}, false
}

// before is the variance that a linear function of the unknowns had beforehand.
func (l *linear) before(row []float64) float64 {
	sum := 0.0
	for i, d := range row {
		u := l.problem.unknowns[i].deviation
		sum += d * d * u * u
	}
	return sum
}

// tells is the part of what was uncertain beforehand that may be left for an element to
// count as known by the readings.
const tells = 0.5

// told tells whether the readings say more of a linear function of the unknowns than was
// known beforehand.
func (l *linear) told(row []float64) bool {
	return math.Max(quadratic(l.covariance, row), 0) < tells*tells*l.before(row)
}

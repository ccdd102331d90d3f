package search

import (
	"math"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
)

// How much a display's last digit wanders is a guess (measurement.Repeat), and the readings
// tell it: by the squares of their residuals, beside which the guess counts as much as
// guessed readings. Where the fit explains the readings the digits' deviations are taken so
// much smaller or greater, within bounds: rounding alone is 0.7 times the guess.
const (
	guessed          = 20.0
	leastDigits      = 0.5 // of a variance
	mostDigits       = 1.5
	negligibleDigits = 0.05 // is no reason for another fit
)

// digits fits again with the deviations that the residuals tell. A fit between walls is left as
// it is: without them it would creep.
func (h *hypothesis) digits(fit *leastsquares.Fit) *leastsquares.Fit {
	if h.within || !fit.Converged || fit.Covariance == nil || h.PValue(fit) < model.Misfit {
		return fit
	}
	squares, free := 0.0, 0.0
	for i, o := range h.Observations {
		if !o.Out {
			squares += fit.Residuals[i] * fit.Residuals[i]
			free += 1 - matrix.Quadratic(fit.Covariance, fit.Jacobian.Row(i))
		}
	}
	variance := min(max((guessed+squares)/(guessed+free), leastDigits), mostDigits)
	if variance > 1-negligibleDigits && variance < 1+negligibleDigits {
		return fit
	}
	h.scaleDigits(variance)
	again, err := h.SolveWithin(fit.X, firstSteps)
	if err != nil || !again.Converged || h.farBelow(again) && !h.farBelow(fit) {
		h.scaleDigits(1 / variance)
		return fit
	}
	return again
}

// scaleDigits multiplies the variances of all readings' last digits.
func (h *hypothesis) scaleDigits(by float64) {
	h.Digits *= by
	for i := range h.Observations {
		h.Observations[i].Deviation *= math.Sqrt(by)
	}
}

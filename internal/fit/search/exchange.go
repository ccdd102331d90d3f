package search

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
)

const (
	// rivalling is by how much worse an account with other readings left out may be for
	// neither to be believed alone: a likelihood ratio of 90.
	rivalling = 9.0
	// mostReplaced is how many readings left out may be the work of one.
	mostReplaced = 8
	// cheap is the work of a fit's step, in products, up to which every reading is tried.
	cheap = 2_000_000
	// After fewSteps a fit that is still worse by hopeless is so because the wrong reading is in it.
	fewSteps = 5
	hopeless = 1000.0
	// mostWorse is how many more readings an exchange may leave out.
	mostWorse = 2
)

// exchanged looks whether other readings are the wrong ones. Of two that contradict each
// other either may be; and of a joint's several the wrong one may have stayed and, having
// bent the fit to itself, driven out the good ones beside it. Each reading that is beside
// those left out is tried in their place. Accounts nearly as good are kept as rivals.
func (h *hypothesis) exchanged(fit *leastsquares.Fit) *leastsquares.Fit {
	h.rivals = nil
	n := h.leftOut()
	if n == 0 || n > mostReplaced || fit.Covariance == nil {
		return fit
	}
	type trial struct {
		fit     *leastsquares.Fit
		marks   []bool
		account float64
	}
	out := h.marks()
	best := trial{fit, out, h.account(fit)}
	others := []trial{best}
	for i := range h.Observations {
		if !h.inPlace(i, fit) {
			continue
		}
		h.setMarks(nil)
		for k, o := range h.Observations {
			h.Observations[k].Excluded = o.ExcludedForGood || k == i || out[k] && !beside(o, h.Observations[i])
		}
		if other := h.fitExchanged(best.account); other != nil && h.PValue(other) >= model.MinPValue {
			t := trial{other, h.marks(), h.account(other)}
			if others = append(others, t); t.account < best.account {
				best = t
			}
		}
		h.setMarks(out)
	}
	h.setMarks(best.marks)
	for _, t := range others {
		if t.account < best.account+rivalling && !slices.Equal(t.marks, best.marks) {
			h.rivals = append(h.rivals, t.marks)
		}
	}
	return best.fit
}

// inPlace tells whether reading i, which is in the fit, may be wrong in the place of those
// left out beside it: it must be beside two of several. Of two alone, where fits are dear, it
// must matter in the linear model hardly more which one is left out.
func (h *hypothesis) inPlace(i int, fit *leastsquares.Fit) bool {
	if h.Observations[i].Excluded {
		return false
	}
	var near []int
	for k, o := range h.Observations {
		if o.Excluded && !o.ExcludedForGood && beside(o, h.Observations[i]) {
			near = append(near, k)
		}
	}
	if n := h.leftOut(); n > 1 || len(near) == 0 {
		return len(near) >= 2
	}
	if n := len(fit.X); n*n*len(h.Observations) < cheap {
		return true
	}
	// With both left out, o would be missed by so much, with a variance of 1 + g.
	row := make([]float64, len(fit.X))
	o := &h.Observations[near[0]]
	predicted, err := h.Predict(o, fit.X, row)
	if err != nil {
		return false
	}
	missed := (o.Value - predicted) / o.Deviation
	for j := range row {
		row[j] /= -o.Deviation
	}
	own := fit.Jacobian.Row(i)
	along := matrix.Times(fit.Covariance, own)
	rest := 1 - matrix.Dot(own, along)
	if rest < 1e-9 {
		return false // nothing but itself tells of it: it contradicts nothing
	}
	both := matrix.Dot(row, along)
	missed += both * fit.Residuals[i] / rest
	g := matrix.Quadratic(fit.Covariance, row) + both*both/rest
	with, without := missed*missed/(1+g), fit.Residuals[i]*fit.Residuals[i]/rest
	return with < 4*(without+rivalling)
}

// fitExchanged fits from the run file's figures with the readings marked left out, leaves out
// a few more that are far off then, and takes back what agrees; nil where that does not do, or
// is far worse than an account.
func (h *hypothesis) fitExchanged(account float64) *leastsquares.Fit {
	fit, err := h.SolveLimited(h.Start(), fewSteps)
	if err != nil || h.account(fit) > account+hopeless {
		return nil
	}
	if !fit.Converged {
		fit, err = h.SolveLimited(fit.X, firstSteps)
	}
	for range mostWorse {
		if err != nil {
			return nil
		}
		worst, at := h.worst(fit)
		if worst <= suspectAt || math.IsNaN(worst) {
			break
		}
		h.Observations[at].Excluded = true
		fit, err = h.Solve(fit.X)
	}
	if err == nil {
		fit, err = h.readmit(fit)
	}
	if err != nil {
		return nil
	}
	return fit
}

// beside tells whether two readings share a point or a feed.
func beside(o, x model.Observation) bool {
	if o.Feed != model.Absent || x.Feed != model.Absent {
		return o.Feed == x.Feed
	}
	return o.From == x.From || o.From == x.To || o.To == x.From || o.To == x.To
}

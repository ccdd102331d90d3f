// Package likelihood estimates the noise of readings from the residuals of a fit.
//
// The variance of a reading is the sum of three parts: rounding, which is known; a constant part
// of its group, such as a meter range; and a part proportional to the square of the value. The
// logarithms of the last two are estimated by restricted maximum likelihood (Patterson and
// Thompson, Biometrika 58 (1971) 545): a residual counts for as many degrees of freedom as the
// fit leaves it, which is MacKay's effective number of parameters (Neural Computation 4 (1992)
// 415, section 4.4) applied to each reading. The priors of the logarithms are Gaussian and wide,
// so that few readings change the estimate little.
package likelihood

import "math"

// Residual is the residual of one reading of a group.
type Residual struct {
	Value         float64 // measured minus predicted, SI
	Magnitude     float64 // of the value read, SI
	KnownVariance float64 // such as that of rounding
	Freedom       float64 // degrees of freedom that the fit leaves it: one minus its leverage
}

// Scatter is the standard deviation of readings of a group besides the known variance: a constant
// part, SI, and a part relative to the value.
type Scatter struct{ Constant, Relative float64 }

// Variance returns the variance of a reading of the given magnitude, with its known part.
func (s Scatter) Variance(fixed, size float64) float64 {
	return fixed + s.Constant*s.Constant + s.Relative*s.Relative*size*size
}

// Prior is the prior of a group's scatter: the medians of both parts and the standard deviations
// of their logarithms. The constant part has a deviation of its own below the median, because
// few readings can agree better by chance than their display allows. The estimate does not exceed
// Max: readings that scatter more have other errors.
type Prior struct {
	Scatter
	SpreadConstant, SpreadBelow, SpreadRelative float64
	Max                                         Scatter
}

// Times returns the prior of a scatter that is so many times larger.
func (p Prior) Times(factor float64) Prior {
	p.Constant, p.Relative = factor*p.Constant, factor*p.Relative
	p.Max.Constant, p.Max.Relative = factor*p.Max.Constant, factor*p.Max.Relative
	return p
}

// Learned is the scatter of a group estimated from its readings.
type Learned struct {
	Scatter
	// Covariance is that of the logarithms of the two variances, the constant part first.
	Covariance [2][2]float64
	// Cost is minus twice the logarithm of the restricted likelihood times the prior, relative to the
	// prior's medians except for the squares of the residuals.
	Cost float64
}

const (
	maxIterations   = 40
	maxUpdate       = 1.5   // largest change of the logarithm of a variance in one iteration
	updateTolerance = 0.002 // a smaller update, summed over both logarithms, ends the iteration
)

// Learn estimates the scatter of a group by Fisher scoring. With studentFreedom > 0 the residuals
// are taken to have Student's distribution with that many degrees of freedom, which gives an
// outlier little weight (Lange, Little and Taylor, J. Am. Stat. Assoc. 84 (1989) 881). With 0 they
// are Gaussian.
func Learn(residuals []Residual, prior Prior, studentFreedom float64) Learned {
	a0, b0 := 2*math.Log(prior.Constant), 2*math.Log(prior.Relative)
	above, below := 1/(4*prior.SpreadConstant*prior.SpreadConstant), 1/(4*prior.SpreadBelow*prior.SpreadBelow)
	wa, wb := above, 1/(4*prior.SpreadRelative*prior.SpreadRelative)
	mostA, mostB := 2*math.Log(prior.Max.Constant), 2*math.Log(prior.Max.Relative)
	a, b := a0, b0
	var haa, hab, hbb float64
	for range maxIterations {
		if wa = above; a < a0 {
			wa = below
		}
		ga, gb := wa*(a-a0), wb*(b-b0)
		haa, hab, hbb = wa, 0, wb
		ea, eb := math.Exp(a), math.Exp(b)
		for _, r := range residuals {
			relative := eb * r.Magnitude * r.Magnitude
			s := r.KnownVariance + ea + relative
			z := r.Value * r.Value / s
			if studentFreedom > 0 {
				z *= (studentFreedom + 1) / (studentFreedom + z/math.Max(r.Freedom, minFreedom))
			}
			ua, ub := ea/s, relative/s
			excess := (r.Freedom - z) / 2
			ga += ua * excess
			gb += ub * excess
			haa += r.Freedom * ua * ua / 2
			hab += r.Freedom * ua * ub / 2
			hbb += r.Freedom * ub * ub / 2
		}
		det := haa*hbb - hab*hab
		da, db := (hab*gb-hbb*ga)/det, (hab*ga-haa*gb)/det
		if largest := math.Max(math.Abs(da), math.Abs(db)); largest > maxUpdate {
			da, db = da*maxUpdate/largest, db*maxUpdate/largest
		}
		da, db = math.Min(da, mostA-a), math.Min(db, mostB-b)
		a, b = a+da, b+db
		if math.Abs(da)+math.Abs(db) < updateTolerance {
			break
		}
	}
	det := haa*hbb - hab*hab
	l := Learned{Scatter: Scatter{math.Exp(a / 2), math.Exp(b / 2)},
		Covariance: [2][2]float64{{hbb / det, -hab / det}, {-hab / det, haa / det}}}
	l.Cost = wa*(a-a0)*(a-a0) + wb*(b-b0)*(b-b0)
	for _, r := range residuals {
		s := l.Variance(r.KnownVariance, r.Magnitude)
		l.Cost += r.Freedom*math.Log(s/prior.Variance(r.KnownVariance, r.Magnitude)) + r.Value*r.Value/s
	}
	return l
}

// minFreedom is the least degrees of freedom of a reading that no other reading determines.
const minFreedom = 0.05

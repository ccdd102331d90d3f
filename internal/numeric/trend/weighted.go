package trend

import "math"

// Fit is a line by least squares with its standard deviations.
type Fit struct {
	Line
	SlopeError     float64 // standard deviations; +Inf where the points do not determine the line
	InterceptError float64
	Scale          float64 // standard deviation of a point of weight 1 about the line
}

// LeastSquares fits a line to points with weights ≥ 0 that are inverse to their
// variances; nil gives all points weight 1.
func LeastSquares(x, y, weight []float64) Fit {
	w := func(i int) float64 {
		if weight == nil {
			return 1
		}
		return weight[i]
	}
	var sum, mx, my float64
	n := 0
	for i := range x {
		if w(i) > 0 {
			n++
		}
		sum += w(i)
		mx += w(i) * x[i]
		my += w(i) * y[i]
	}
	mx, my = mx/sum, my/sum
	var sxx, sxy float64
	for i := range x {
		sxx += w(i) * (x[i] - mx) * (x[i] - mx)
		sxy += w(i) * (x[i] - mx) * (y[i] - my)
	}
	inf := math.Inf(1)
	if n < 3 || !(sxx > 1e-12*sum*mx*mx) {
		return Fit{Line: Line{0, my}, SlopeError: inf, InterceptError: inf, Scale: inf}
	}
	f := Fit{Line: Line{Slope: sxy / sxx, Intercept: my - sxy/sxx*mx}}
	ss := 0.0
	for i := range x {
		r := y[i] - f.At(x[i])
		ss += w(i) * r * r
	}
	f.Scale = math.Sqrt(ss / float64(n-2))
	f.SlopeError = f.Scale / math.Sqrt(sxx)
	f.InterceptError = f.Scale * math.Sqrt(1/sum+mx*mx/sxx)
	return f
}

// Robust fits a line that a few outliers do not change: iteratively reweighted least squares with
// Huber's weights first and Tukey's biweight then, both tuned to 95 % efficiency (1.345 and 4.685;
// FROM MEMORY). deviation holds the least standard deviation of each point, in units of y; a
// point's weight begins as one over its square.
func Robust(x, y, deviation []float64) Fit {
	weight := make([]float64, len(x))
	for i, d := range deviation {
		weight[i] = 1 / (d * d)
	}
	rest := make([]float64, len(x))
	fit := LeastSquares(x, y, weight)
	for round := range 9 {
		if math.IsInf(fit.SlopeError, 1) {
			return fit
		}
		for i, d := range deviation {
			rest[i] = math.Abs(y[i]-fit.At(x[i])) / d
		}
		scale := max(1.4826*Median(rest), 1)
		for i, d := range deviation {
			switch u := rest[i] / scale; {
			case round < 5:
				weight[i] = min(1, 1.345/max(u, 1e-9))
			case u < 4.685:
				weight[i] = (1 - u*u/(4.685*4.685)) * (1 - u*u/(4.685*4.685))
			default:
				weight[i] = 0
			}
			weight[i] /= d * d
		}
		fit = LeastSquares(x, y, weight)
	}
	return fit
}

// Package compare works out the gain and offset of one instrument against another from pairs of readings that both
// took of the same place at the same time.
//
// The model is shown = gain·reference + offset, a straight line by least squares with equal weights, for each range of
// the compared meter. The deviation of one pair is that of the residuals, and at least the rounding of both displays.
// The intervals are Student's, 95 %. They hold between the two instruments; against the true value the accuracy of the
// reference is added. The errors of the reference's last digit are taken as part of the residuals, which is right as
// long as they are small against the span of the readings.
package compare

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Pair is what both instruments showed.
type Pair struct{ Reference, Compared reading.Reading }

// Estimate is a value and its 95 % interval.
type Estimate struct{ Value, Low, High float64 }

func around(value, half float64) Estimate { return Estimate{value, value - half, value + half} }

// Result is the comparison on one range of the compared meter.
type Result struct {
	At              int       // index of the range in the compared meter
	Range           run.Range // as described
	Pairs           int
	Lowest, Highest float64 // of the reference, SI
	// Line is whether the readings are far enough apart to tell gain from offset; otherwise Gain, Offset and
	// Corrected are not known.
	Line         bool
	Gain, Offset Estimate
	Scatter      float64 // standard deviation of a pair from the line, SI
	// Excess is by how much the readings of the worst pair differ beyond the accuracy of both, SI; 0 where none does.
	Excess float64
	// Corrected is Range with gain and offset as its known error, and what accuracy remains.
	Corrected run.Range
	// Better is whether Corrected is more accurate than Range over the span of the readings.
	Better bool
}

const (
	fewestPairs  = 3
	smallestSpan = 20 // counts of the coarser display between the lowest and the highest reading
)

// Meters compares a meter with a reference by pairs of one quantity. Pairs that a meter has no range for are left out.
func Meters(reference, compared run.Meter, pairs []Pair) []Result {
	groups := map[int][]Pair{}
	for _, p := range pairs {
		if at := rangeOf(compared, p.Compared); at >= 0 && rangeOf(reference, p.Reference) >= 0 {
			groups[at] = append(groups[at], p)
		}
	}
	var list []Result
	for at := range compared.Ranges {
		if len(groups[at]) > 0 {
			r := line(reference, compared.Ranges[at], groups[at])
			r.At = at
			list = append(list, r)
		}
	}
	return list
}

func rangeOf(m run.Meter, x reading.Reading) int {
	return m.ShownRange(x.Quantity, x.Value, x.LastDigit())
}

// line compares the readings of one range.
func line(reference run.Meter, g run.Range, pairs []Pair) Result {
	r := Result{Range: g, Pairs: len(pairs), Lowest: math.Inf(1), Highest: math.Inf(-1)}
	n := float64(len(pairs))
	var fraction, constant, count, meanX, meanY float64 // of the reference's ranges the coarsest
	for _, p := range pairs {
		own := reference.Ranges[rangeOf(reference, p.Reference)]
		x, y := own.Correct(p.Reference.Value), p.Compared.Value
		r.Lowest, r.Highest = math.Min(r.Lowest, x), math.Max(r.Highest, x)
		meanX, meanY = meanX+x/n, meanY+y/n
		fraction, constant = math.Max(fraction, own.Fraction), math.Max(constant, own.Counts*own.Resolution)
		count = math.Max(count, own.Resolution)
		allowed := own.Fraction*math.Abs(x) + own.Counts*own.Resolution + g.Fraction*math.Abs(y) + g.Counts*g.Resolution
		r.Excess = math.Max(r.Excess, math.Abs(g.Correct(y)-x)-allowed)
	}
	rounding := math.Hypot(count, g.Resolution) / math.Sqrt(12)
	if r.Line = len(pairs) >= fewestPairs && r.Highest-r.Lowest >= smallestSpan*math.Max(count, g.Resolution); !r.Line {
		return r
	}
	var xx, xy, squares float64
	for _, p := range pairs {
		x := reference.Ranges[rangeOf(reference, p.Reference)].Correct(p.Reference.Value) - meanX
		xx, xy = xx+x*x, xy+x*(p.Compared.Value-meanY)
	}
	gain := xy / xx
	offset := meanY - gain*meanX
	for _, p := range pairs {
		x := reference.Ranges[rangeOf(reference, p.Reference)].Correct(p.Reference.Value)
		d := p.Compared.Value - gain*x - offset
		squares += d * d
	}
	r.Scatter = math.Sqrt(squares / (n - 2))
	deviation := math.Max(r.Scatter, rounding)
	student := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 2}.Quantile(0.975)
	halfGain, halfOffset := student*deviation/math.Sqrt(xx), student*deviation*math.Sqrt(1/n+meanX*meanX/xx)
	r.Gain, r.Offset = around(gain, halfGain), around(offset, halfOffset)
	r.Corrected = g
	r.Corrected.KnownGain, r.Corrected.KnownOffset = gain-1, offset
	r.Corrected.Fraction = fraction + halfGain
	r.Corrected.Counts = (constant + halfOffset) / g.Resolution
	limit := func(g run.Range, x float64) float64 { return g.Fraction*math.Abs(x) + g.Counts*g.Resolution }
	r.Better = limit(r.Corrected, r.Highest) < limit(g, r.Highest) || r.Excess > 0
	return r
}

package estimate

import (
	"math"
	"slices"

	"ohmkeep/internal/fit/prior"
	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/numeric/matrix"
	"ohmkeep/internal/run"
)

// Group is elements of which the readings determine only a weighted sum.
type Group struct {
	Elements  []int     // indices into Estimate.Elements
	Parts     []float64 // weights in the sum; the largest is 1
	Ohms      float64   // of the sum: loops, a reel's whole copper
	Deviation float64   // Ω
}

const (
	// maxPartialCorrelation is the partial correlation below which two elements belong to one group:
	// a larger value of one then goes with a smaller value of the other.
	maxPartialCorrelation = -0.7
	// maxSumDeviation is the largest ratio of the standard deviation of the sum to that of each
	// element.
	maxSumDeviation = 0.4
	// minWholePart: where all weights are at least this, all are set to 1.
	minWholePart = 0.8
)

// Inseparable finds the groups, among the given elements, that the readings cannot tell apart.
func (e *Estimate) Inseparable(elements []int) []Group {
	if e.Covariance == nil {
		return nil
	}
	var ohms []float64
	var rows [][]float64
	var list []int
	for _, i := range elements {
		if x := &e.Elements[i]; !x.Open {
			row, value := e.loopOhms(x)
			list, rows, ohms = append(list, i), append(rows, row), append(ohms, value)
		}
	}
	s := e.covarianceOf(rows)
	precision := matrix.Inverse(s)
	if precision == nil {
		return nil
	}
	seen := make([]bool, len(list))
	var groups []Group
	for i := range list {
		if seen[i] {
			continue
		}
		members := correlatedWith(precision, i, seen)
		if g, ok := bestKnownSum(s, members); ok {
			for k, m := range members {
				g.Elements = append(g.Elements, list[m])
				g.Ohms += g.Parts[k] * ohms[m]
			}
			groups = append(groups, g)
		}
	}
	return groups
}

// loopOhms returns an element's loop resistance, Ω, and its derivatives by the unknowns. For a reel
// it is that of all its copper.
func (e *Estimate) loopOhms(x *Element) (row []float64, ohms float64) {
	by := 1.0
	mean, row := x.resistance.At(e.X)
	ohms = x.Ohms(mean)
	switch {
	case x.resistance.Transformed:
		by = prior.ToOhmsSlope(min(max(mean, -0.5), prior.MaxTransformed))
	case x.Kind == run.KindReel:
		by = e.Model.Run.Reels[x.Index].CopperLength()
		ohms *= by
	}
	for j := range row {
		row[j] *= by
	}
	return row, ohms
}

func (e *Estimate) covarianceOf(rows [][]float64) *leastsquares.Matrix {
	s := leastsquares.NewMatrix(len(rows), len(rows))
	for i, row := range rows {
		along := matrix.Times(e.Covariance, row)
		for j := range rows {
			s.Row(i)[j] = e.Inflation * e.Inflation * matrix.Dot(along, rows[j])
		}
	}
	return s
}

// correlatedWith returns the elements correlated with element i, directly or through others.
func correlatedWith(precision *leastsquares.Matrix, i int, grouped []bool) []int {
	members := []int{i}
	grouped[i] = true
	for k := 0; k < len(members); k++ {
		a := members[k]
		for b := range grouped {
			partial := -precision.At(a, b) / math.Sqrt(precision.At(a, a)*precision.At(b, b))
			if !grouped[b] && partial < maxPartialCorrelation {
				grouped[b] = true
				members = append(members, b)
			}
		}
	}
	slices.Sort(members)
	return members
}

// bestKnownSum finds the weighted sum of some elements with the least variance, and whether it is
// known so much better than each of them that they form a group.
func bestKnownSum(s *leastsquares.Matrix, members []int) (Group, bool) {
	n := len(members)
	if n < 2 {
		return Group{}, false
	}
	sub := leastsquares.NewMatrix(n, n)
	for a, i := range members {
		for b, j := range members {
			sub.Row(a)[b] = s.At(i, j)
		}
	}
	precision := matrix.Inverse(sub)
	if precision == nil {
		return Group{}, false
	}
	parts := make([]float64, n)
	for a := range parts {
		parts[a] = 1
	}
	for range 100 { // the power method: the direction of the least variance
		parts = matrix.Times(precision, parts)
		normalise(parts)
	}
	whole := true
	for _, p := range parts {
		if p < 0.05 {
			return Group{}, false // the elements do not compensate each other
		}
		whole = whole && p >= minWholePart
	}
	if whole {
		for a := range parts {
			parts[a] = 1
		}
	}
	deviation := math.Sqrt(math.Max(matrix.Quadratic(sub, parts), 0))
	for a, p := range parts {
		if deviation > maxSumDeviation*p*math.Sqrt(sub.At(a, a)) {
			return Group{}, false
		}
	}
	return Group{Parts: parts, Deviation: deviation}, true
}

// normalise divides by the entry of largest absolute value.
func normalise(v []float64) {
	most := 0.0
	for _, x := range v {
		if math.Abs(x) > math.Abs(most) {
			most = x
		}
	}
	for i := range v {
		v[i] /= most
	}
}

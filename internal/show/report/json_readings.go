package report

import (
	"math"
	"slices"
	"time"

	"ohmkeep/internal/result/assessment"
)

// byRow returns a reading for each row of a file, in the order of the rows; readings of a
// store that were taken together stay one, under the row of the first.
func byRow(readings []assessment.Reading) (list []assessment.Reading) {
	for _, r := range readings {
		if r.Mean == nil || r.Mean.Rows == nil {
			list = append(list, r)
			continue
		}
		for i, row := range r.Mean.Rows {
			list = append(list, single(r, row, r.Mean.Values[i]))
		}
	}
	slices.SortStableFunc(list, func(a, b assessment.Reading) int { return a.Row - b.Row })
	return list
}

// single is one of the readings that a mean is of, beside what is predicted for all of them.
func single(r assessment.Reading, row int, value float64) assessment.Reading {
	own := r.Mean.Scatter * r.Mean.Scatter * (1 - 1/r.Mean.Independent)
	if r.Standardised != 0 {
		own += math.Pow(r.Residual/r.Standardised, 2) // of the mean
	}
	r.Row, r.Residual = row, value-r.Predicted
	if r.Standardised = r.Residual / math.Sqrt(own); math.IsInf(r.Standardised, 0) || r.Residual == 0 {
		r.Standardised = 0
	}
	return r
}

func readingJSON(r assessment.Reading) any {
	o := object{{"row", r.Row}, {"predicted", number(r.Predicted)}, {"residual", number(r.Residual)},
		{"standardised", number(r.Standardised)}, {"suspect", r.Suspect}, {"used", r.Used}}
	if r.Note != "" {
		o = append(o, member{"note", r.Note})
	}
	if m := r.Mean; m != nil {
		o = append(o, member{"repeats", m.Count}, member{"scatter", number(m.Scatter)},
			member{"first", m.First.Format(time.RFC3339)}, member{"last", m.Last.Format(time.RFC3339)})
	}
	return o
}

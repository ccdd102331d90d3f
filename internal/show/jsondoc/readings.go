package jsondoc

import (
	"math"
	"slices"

	"ohmkeep/internal/result/assessment"
)

// ReadingDoc is a reading beside what the fitted run predicts for it.
type ReadingDoc struct {
	Row          int     `json:"row"`
	Predicted    Number  `json:"predicted"`
	Residual     Number  `json:"residual"`
	Standardised Number  `json:"standardised"`
	Suspect      bool    `json:"suspect"`
	Used         bool    `json:"used"`
	Note         string  `json:"note,omitempty"`
	Repeats      int     `json:"repeats,omitempty"` // number of readings of which this is the mean
	Scatter      *Number `json:"scatter,omitempty"` // their standard deviation
	First        *Date   `json:"first,omitempty"`
	Last         *Date   `json:"last,omitempty"`
}

// byRow returns a reading for each row of a file, in the order of the rows. A mean of readings from a
// store stays one, under the row of the first.
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

// single returns one of the readings of a mean, with the prediction for the mean.
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

func readingDoc(r assessment.Reading) ReadingDoc {
	d := ReadingDoc{Row: r.Row, Predicted: Number(r.Predicted), Residual: Number(r.Residual), Standardised: Number(r.Standardised),
		Suspect: r.Suspect, Used: r.Used, Note: r.Note}
	if m := r.Mean; m != nil {
		scatter, first, last := Number(m.Scatter), Date(m.First), Date(m.Last)
		d.Repeats, d.Scatter, d.First, d.Last = m.Count, &scatter, &first, &last
	}
	return d
}

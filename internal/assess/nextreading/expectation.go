package nextreading

import (
	"math"

	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/result/assessment"
)

// Expectation is what a meter is expected to show for a reading that was not taken yet.
type Expectation struct {
	assessment.Next
	Value     float64 // V or A
	Deviation float64 // its standard deviation, the meter's errors included
}

// Expectations returns what the meters are expected to show for some candidates, given the readings
// of the fit.
func (o *Outlook) Expectations(list []Candidate) []Expectation {
	root := o.whitener()
	all := make([]Expectation, len(list))
	for i := range list {
		c := &list[i]
		all[i] = Expectation{Next: o.Describe(c), Value: c.Value, Deviation: c.Deviation * math.Sqrt(1+root.Whiten(c.row).Square())}
		if c.MeterRange != model.Absent {
			m := o.Model.MeterRanges[c.MeterRange]
			all[i].Value = c.Value*(1+o.X[m.Gain]) + o.X[m.Offset]
		}
	}
	return all
}

// Element returns an element of the fit.
func (o *Outlook) Element(i int) *estimate.Element { return &o.est.Elements[i] }

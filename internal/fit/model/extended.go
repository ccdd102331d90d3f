package model

import (
	"slices"

	"ohmkeep/internal/numeric/leastsquares"
	"ohmkeep/internal/run"
)

// Extended returns a model like m with nodes at the given places, all steps of the run and the
// ranges of the given meters, but without readings. Its first unknowns are those of m. It returns
// an error where a part of the run is connected to no supply.
func (m *Model) Extended(meters []int, places []run.Place) (*Model, error) {
	w := &Model{Run: m.Run, temperature: m.temperature, Steps: m.Steps, ReadSteps: len(m.Steps), Segment: m.Segment,
		MeterRanges: slices.Clone(m.MeterRanges), coarser: m.coarser, NoiseGroups: m.NoiseGroups, unlisted: m.unlisted}
	for _, meter := range meters {
		if m.Run.Meters[meter].Each {
			continue // every place has its own errors
		}
		for at, limits := range m.Run.Meters[meter].Ranges {
			if limits.Quantity != run.Temperature {
				w.addMeterRange(MeterRange{Meter: meter, Range: at, Limits: limits})
			}
		}
	}
	if err := w.layNetwork(places); err != nil {
		return nil, err
	}
	w.addUnknowns()
	w.markSteps()
	return w, nil
}

// WithReadings returns an extended model with the observations of another model and further ones,
// whose deviations are known. Assumptions of the other model hold for it too.
func (m *Model) WithReadings(of *Model, more []Observation) *Model {
	w := *m
	w.Observations = slices.Clone(of.Observations)
	for _, o := range more {
		o.Group, o.SmallestRange = Absent, Absent
		w.Observations = append(w.Observations, o)
	}
	w.markSteps()
	return &w
}

// ExtendedTo returns the linear model of an extended model. Its further unknowns have their priors.
func (l Linear) ExtendedTo(wide *Model) Linear {
	n := len(wide.Unknowns)
	w := Linear{Model: wide, Assumptions: l.Assumptions, X: make([]float64, n), Covariance: leastsquares.NewMatrix(n, n)}
	copy(w.X, l.X)
	for i, u := range wide.Unknowns {
		if i < len(l.X) {
			copy(w.Covariance.Row(i), l.Covariance.Row(i))
			continue
		}
		w.X[i] = u.Mean
		w.Covariance.Row(i)[i] = u.Deviation * u.Deviation
	}
	w.linearisedAt = w.X
	return w
}

// Narrowed returns the linear model of another model with the same unknowns, whose further readings
// reduce the covariance to the given one and agree with the estimate.
func (l Linear) Narrowed(m *Model, covariance *leastsquares.Matrix) Linear {
	l.Model, l.Covariance, l.linearisedAt = m, covariance, l.X
	return l
}

// ExtendRow extends a row of derivatives of the smaller model with zeros.
func (l *Linear) ExtendRow(row []float64) []float64 {
	wide := make([]float64, len(l.X))
	copy(wide, row)
	return wide
}

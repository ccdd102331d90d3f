package search

import "ohmkeep/internal/fit/model"

// rough returns an explanation in which all readings scatter much further than their meters promise,
// where many are outliers or the fit is poor; none elsewhere. Many wrong readings, each by itself, are less
// probable than one cause of all.
func (e explanation) rough() []explanation {
	if e.Converged && e.Assumptions.ExcludedCount() <= e.fewWrongReadings() && e.PValue() >= model.MinPValue {
		return nil
	}
	m := e.Model.WithRoughReadings()
	a := m.Assume()
	fit, err := model.SolveLimited(m, a, m.Start(a), longIterations)
	if err != nil {
		return nil
	}
	other, err := explain(fit, nil).withoutOutliers()
	if err != nil {
		return nil
	}
	return []explanation{other}
}

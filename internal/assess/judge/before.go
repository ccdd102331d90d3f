package judge

import (
	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// BeforeReadings returns the estimate of a run before anything but temperatures is read, and the joints and feeds
// that readings should decide, in the run's order. Joints whose plus is cut are left out: no
// reading under load shows them. The errors are those of Make.
func BeforeReadings(r *run.Run, temperatures ...reading.Reading) (*estimate.Estimate, []nextreading.Target, error) {
	j, err := judgeReadings(r, temperatures)
	if err != nil {
		return nil, nil, err
	}
	var targets []nextreading.Target
	for i := range j.est.Elements {
		e := &j.est.Elements[i]
		if e.Rail == run.Loop && (e.Kind == run.KindJoint || e.Kind == run.KindFeed) {
			targets = append(targets, j.target(i))
		}
	}
	return j.est, targets, nil
}

// target describes an element for the choice of next readings.
func (j *judgement) target(i int) nextreading.Target {
	e := &j.est.Elements[i]
	return nextreading.Target{Element: i, Name: j.name(e), Limit: e.Scale(j.limit(e)), HealthyValue: e.Scale(j.statedOhms(e)), Rule: j.rule, DeviationSpread: e.Belief.DeviationSpread}
}

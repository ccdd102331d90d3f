package judge

import (
	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/fit/estimate"
	"ohmkeep/internal/run"
)

// Prospects gives what is known of a run before anything is read, and the joints and
// feeds that readings should settle, in the run's order. Joints whose plus is cut are
// among neither: no loaded reading tells of them. The errors are those of Make.
func BeforeReadings(r *run.Run) (*estimate.Estimate, []nextreading.Target, error) {
	j, err := weigh(r, nil)
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

// target is what would settle an element's loop.
func (j *judged) target(i int) nextreading.Target {
	e := &j.est.Elements[i]
	return nextreading.Target{Element: i, Name: j.name(e), Limit: e.Scale(j.limit(e)), Sound: e.Scale(j.assumed(e)), Rule: j.rule, Tail: e.Belief.Tail}
}

package judge

import (
	"fmt"
	"slices"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/result/assessment"
)

// reportMistakes reports operator mistakes, whose readings were used corrected. Two steps that
// were exchanged are one.
func (j *judgement) reportMistakes() {
	reported := map[string]bool{}
	for _, s := range j.est.Mistakes {
		what, used := j.describeMistake(s)
		var rows []int
		for i := range j.est.Problem.Observations {
			o := &j.est.Problem.Observations[i]
			if (s.Affects(o) || j.exchanged(s) && o.Step == j.readStep(s.B)) && !o.Excluded {
				x := &j.out.Readings[o.Reading]
				x.Note = what
				rows = append(rows, x.Row)
			}
		}
		if reported[what] || len(rows) == 0 {
			continue
		}
		reported[what] = true
		j.addFinding(assessment.Warning, "reading", fmt.Sprintf("%s (%d readings, lines %d to %d). %s; check it.", what, len(rows), slices.Min(rows), slices.Max(rows), used))
	}
}

// describeMistake says what a mistake is, and how its readings were used.
func (j *judgement) describeMistake(s model.Mistake) (what, used string) {
	step := j.run.Steps[j.est.Problem.Steps[s.A%len(j.est.Problem.Steps)]].Name
	switch s.Kind {
	case model.FeedsSwapped:
		return fmt.Sprintf("The currents of feeds %s and %s seem to be swapped", j.run.Feeds[s.A].Name, j.run.Feeds[s.B].Name),
			"Each was used for the other"
	case model.LeadsReversed:
		return fmt.Sprintf("All voltages of step %q seem to be read with the leads reversed", step), "They were used with the sign changed"
	}
	other := j.run.Steps[s.B].Name
	if j.exchanged(s) {
		return fmt.Sprintf("Steps %q and %q seem to have been exchanged", min(step, other), max(step, other)), "The readings of each were used for the other"
	}
	return fmt.Sprintf("Step %q seems to have been read with the load of step %q", step, other), "Its readings were used for that load"
}

// exchanged reports whether a step was read in another's load, and the other one in its load.
func (j *judgement) exchanged(s model.Mistake) bool {
	return s.Kind == model.WrongLoad && slices.Contains(j.est.Mistakes, model.Mistake{Kind: s.Kind, A: j.readStep(s.B), B: j.est.Problem.Steps[s.A]})
}

// readStep returns the index in Problem.Steps of a step of the run, or -1.
func (j *judgement) readStep(step int) int {
	return slices.Index(j.est.Problem.Steps, step)
}

// corrected reports whether a reading belongs to an operator mistake and was used corrected.
func corrected(x assessment.Reading) bool { return x.Suspect && x.Used }

package judge

import (
	"fmt"
	"slices"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/result/assessment"
)

// reportMistakes reports operator mistakes, whose readings were used corrected.
func (j *judgement) reportMistakes() {
	for _, s := range j.est.Mistakes {
		what, used := j.describeMistake(s)
		var rows []int
		for i := range j.est.Observations {
			o := &j.est.Observations[i]
			if s.Affects(o) && !o.Excluded {
				x := &j.out.Readings[o.Reading]
				x.Note = what
				rows = append(rows, x.Row)
			}
		}
		if len(rows) == 0 {
			continue
		}
		j.addFinding(assessment.Warning, "reading", fmt.Sprintf("%s (%d readings, lines %d to %d). %s; check it.", what, len(rows), slices.Min(rows), slices.Max(rows), used))
	}
}

// describeMistake returns the mistake and how its readings were used, in words.
func (j *judgement) describeMistake(s model.Mistake) (what, used string) {
	step := func(k int) string { return j.run.Steps[j.est.Model.Steps[k]].Name }
	switch s.Kind {
	case model.FeedsSwapped:
		return fmt.Sprintf("The currents of feeds %s and %s seem to be swapped", j.run.Feeds[s.A].Name, j.run.Feeds[s.B].Name),
			"Each was used for the other"
	case model.LeadsReversed:
		return fmt.Sprintf("All voltages of step %q seem to be read with the leads reversed", step(s.A)), "They were used with the sign changed"
	case model.StepsExchanged:
		return fmt.Sprintf("Steps %q and %q seem to have been exchanged", min(step(s.A), step(s.B)), max(step(s.A), step(s.B))), "The readings of each were used for the other"
	}
	return fmt.Sprintf("Step %q seems to have been read with the load of step %q", step(s.A), j.run.Steps[s.B].Name), "Its readings were used for that load"
}

// corrected reports whether a reading belongs to an operator mistake and was used corrected.
func corrected(x assessment.Reading) bool { return x.Suspect && x.Used }

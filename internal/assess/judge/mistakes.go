package judge

import (
	"fmt"
	"strconv"
	"strings"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/result/assessment"
)

// reportMistakes reports operator mistakes, whose readings were used corrected.
func (j *judgement) reportMistakes() {
	for _, s := range j.est.Mistakes {
		what, used := j.describeMistake(s)
		var rows []string
		for i := range j.est.Problem.Observations {
			o := &j.est.Problem.Observations[i]
			if s.Affects(o) && !o.Excluded {
				x := &j.out.Readings[o.Reading]
				x.Note = what
				rows = append(rows, strconv.Itoa(x.Row))
			}
		}
		if len(rows) > maxLines {
			rows = append(rows[:maxLines], "…")
		}
		j.addFinding(assessment.Warning, "reading", fmt.Sprintf("%s (lines %s). %s; check it.", what, strings.Join(rows, ", "), used))
	}
}

// maxLines is how many lines a finding lists.
const maxLines = 8

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
	return fmt.Sprintf("Step %q seems to have been read with the load of step %q", step, j.run.Steps[s.B].Name), "Its readings were used for that load"
}

// corrected reports whether a reading belongs to an operator mistake and was used corrected.
func corrected(x assessment.Reading) bool { return x.Suspect && x.Used }

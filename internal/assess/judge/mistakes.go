package judge

import (
	"fmt"
	"slices"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/result/assessment"
)

// reportMistakes reports a reel that stayed dark, and operator mistakes, whose readings were used
// corrected or discarded.
func (j *judgement) reportMistakes() {
	if i := j.est.Assumptions.DarkReel; i >= 0 {
		j.addFinding(assessment.Warning, "load", fmt.Sprintf("The pixels draw less current than the run file says, as they would if reel %s stayed dark in every step, and the readings were used so. Look at it while it should be lit.", j.run.Reels[i].Name))
	}
	for _, s := range j.est.Mistakes {
		what, used := j.describeMistake(s)
		var rows []int
		for i := range j.est.Model.Observations {
			o := &j.est.Model.Observations[i] // as it was read
			x := &j.out.Readings[o.Reading]
			if s.Affects(o) && (x.Used || x.Mistaken) {
				x.Note = what
				rows = append(rows, x.Row)
			}
		}
		if len(rows) == 0 {
			continue
		}
		j.addFinding(assessment.Warning, "reading", fmt.Sprintf("%s (%d readings, lines %d to %d). %s.", what, len(rows), slices.Min(rows), slices.Max(rows), used))
	}
}

// describeMistake returns the mistake and what was done with its readings, in words.
func (j *judgement) describeMistake(s model.Mistake) (what, used string) {
	step := func(k int) string { return j.run.Steps[j.est.Model.Steps[k]].Name }
	switch s.Kind {
	case model.FeedsSwapped:
		return fmt.Sprintf("The currents of feeds %s and %s seem to be swapped", j.run.Feeds[s.A].Name, j.run.Feeds[s.B].Name),
			"Each was used for the other; check it"
	case model.SwappedInStep:
		return fmt.Sprintf("The currents of feeds %s and %s seem to be swapped in step %q", j.run.Feeds[s.A].Name, j.run.Feeds[s.B].Name, step(s.Step)),
			"Each was used for the other; check it"
	case model.LeadsReversed:
		return fmt.Sprintf("All voltages of step %q seem to be read with the leads reversed", step(s.A)), "They were used with the sign changed; check it"
	case model.DisplayHeld:
		first := j.heldReading(s)
		return fmt.Sprintf("The display seems to have held %s %s in step %q", first.Text, first.Unit, first.Step), "They were not used; take them again"
	case model.RangeKept:
		at := slices.IndexFunc(j.est.Observations, func(o model.Observation) bool { return s.Affects(&o) })
		kept := j.est.Model.MeterRanges[j.est.Observations[at].MeterRange]
		return fmt.Sprintf("Meter %s seems to have stayed on its range to %.3g %s", j.run.Meters[kept.Meter].Name, kept.Limits.UpTo, unitOf(kept.Limits.Quantity)),
			"They were used with the errors of that range; let the meter choose the range by itself to know small values better"
	case model.PlaceMisread:
		return fmt.Sprintf("The voltages of %s seem to be read at another place: at the other end of reel %s", j.run.PlaceName(s.Place()), j.run.Reels[s.A].Name),
			"They were used for that one; check it, and take them again"
	case model.StepsExchanged:
		return fmt.Sprintf("Steps %q and %q seem to have been exchanged", min(step(s.A), step(s.B)), max(step(s.A), step(s.B))), "The readings of each were used for the other; check it"
	}
	return fmt.Sprintf("Step %q seems to have been read with the load of step %q", step(s.A), j.run.Steps[s.B].Name), "Its readings were used for that load; check it"
}

// heldReading returns the first reading of a display that held its value.
func (j *judgement) heldReading(s model.Mistake) assessment.Reading {
	at := slices.IndexFunc(j.est.Observations, func(o model.Observation) bool { return s.Affects(&o) })
	return j.out.Readings[j.est.Observations[at].Reading]
}

// partOfMistake reports whether a suspect reading belongs to an operator mistake, which is reported
// once for all its readings.
func partOfMistake(x assessment.Reading) bool { return x.Suspect && x.Mistaken }

package judge

import (
	"fmt"
	"slices"
	"strings"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/run"
)

// supposition states in words what explanation k supposes and the best one does not, or the other way
// round, as a condition; "" where they suppose the same.
func (j *judgement) supposition(k int) string {
	other := j.explanations[k]
	var parts []string
	for _, x := range other.Mistakes {
		if !slices.Contains(j.est.Mistakes, x) {
			parts = append(parts, j.mistakeCondition(x, ""))
		}
	}
	for _, x := range j.est.Mistakes {
		if !slices.Contains(other.Mistakes, x) {
			parts = append(parts, j.mistakeCondition(x, "not "))
		}
	}
	for i := range other.Elements {
		e, best := &other.Elements[i], &j.est.Elements[i]
		if name := fmt.Sprintf("%s %s", e.Kind, j.name(e)); e.Rail == run.Loop && e.Open != best.Open {
			parts = append(parts, name+map[bool]string{true: " were open", false: " were not open"}[e.Open])
		}
	}
	ofReel := func(own, best int, is, not string) {
		if own != model.Absent && own != best {
			parts = append(parts, fmt.Sprintf(is, j.run.Reels[own].Name))
		}
		if best != model.Absent && own != best {
			parts = append(parts, fmt.Sprintf(not, j.run.Reels[best].Name))
		}
	}
	ofReel(other.Assumptions.OtherStock, j.est.Assumptions.OtherStock, "reel %s were of other copper than stated", "reel %s were of the copper stated")
	ofReel(other.Assumptions.DarkReel, j.est.Assumptions.DarkReel, "reel %s stayed dark", "reel %s did not stay dark")
	ofReel(other.Model.UnlistedAt(), j.est.Model.UnlistedAt(), "something that is not in the run file fed reel %s or drew current from it", "nothing fed reel %s or drew current from it but what is in the run file")
	if other.Model.Rough && !j.est.Model.Rough {
		parts = append(parts, "all readings were off by much more than their meters can be")
	}
	if len(parts) == 0 { // else readings that are wrong follow from these
		for _, x := range excludedOnlyIn(other, j.est) {
			parts = append(parts, lineOf(x)+" were wrong")
		}
		for _, x := range excludedOnlyIn(j.est, other) {
			parts = append(parts, lineOf(x)+" were right")
		}
	}
	return strings.Join(parts[:min(len(parts), maxReasons)], " and ")
}

// mistakeCondition states as a condition that an operator mistake was made, or was not.
func (j *judgement) mistakeCondition(s model.Mistake, not string) string {
	step := func(k int) string { return j.run.Steps[j.est.Model.Steps[k]].Name }
	switch s.Kind {
	case model.FeedsSwapped:
		return fmt.Sprintf("the currents of feeds %s and %s were %sswapped", j.run.Feeds[s.A].Name, j.run.Feeds[s.B].Name, not)
	case model.SwappedInStep:
		return fmt.Sprintf("the currents of feeds %s and %s were %sswapped in step %q", j.run.Feeds[s.A].Name, j.run.Feeds[s.B].Name, not, step(s.Step))
	case model.LeadsReversed:
		return fmt.Sprintf("the leads were %sreversed in step %q", not, step(s.A))
	case model.DisplayHeld:
		first := j.heldReading(s)
		return fmt.Sprintf("the display had %sheld %s %s in step %q", not, first.Text, first.Unit, first.Step)
	case model.RangeKept:
		meter := j.run.Meters[j.est.Model.MeterRanges[s.A].Meter].Name
		return fmt.Sprintf("meter %s had %sstayed on a range for larger values", meter, not)
	case model.PlaceMisread:
		return fmt.Sprintf("the voltages of %s were %sread at the reel's other end", j.run.PlaceName(s.Place()), not)
	case model.StepsExchanged:
		return fmt.Sprintf("steps %q and %q were %sexchanged", step(s.A), step(s.B), not)
	}
	return fmt.Sprintf("step %q were %sread with the load of step %q", step(s.A), not, j.run.Steps[s.B].Name)
}

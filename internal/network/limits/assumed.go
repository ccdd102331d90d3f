package limits

import (
	"fmt"
	"slices"
	"strings"

	"ohmkeep/internal/run"
)

// AssumedKnees describes in words the lit channels of a step for which the run file states no knee,
// and what is assumed for them; "" if it states all. A verdict on colour or brightness depends on
// the knees.
func AssumedKnees(r *run.Run, step run.Step) string {
	var names []string
	key, meaning := "knee_volts", "dims"
	for _, reel := range r.Reels {
		for _, c := range reel.Strip.Channels {
			if step.Levels[c.Name] <= 0 || !c.KneeAssumed || slices.Contains(names, c.Name) {
				continue
			}
			names = append(names, c.Name)
			if reel.Strip.Driver == run.Resistor {
				key, meaning = "forward_volts", "is dark"
			}
		}
	}
	if names == nil {
		return ""
	}
	return fmt.Sprintf("the run file states no %s for %s: a usual part of the rated volts is taken as the voltage below which a channel %s (common practice, no source), and the verdict on colour and brightness depends on it",
		key, strings.Join(names, ", "), meaning)
}

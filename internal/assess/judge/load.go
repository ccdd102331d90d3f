package judge

import (
	"fmt"
	"math"
	"strings"

	"ohmkeep/internal/result/assessment"
)

const (
	// unlikeLoad is the part by which a step's current may differ from the run file's before it
	// is told; data sheets' currents are typical ones (common practice, no source).
	unlikeLoad = 0.2
	// surely is how many deviations it must lie from that.
	surely = 3.0
)

// findLoads tells of steps that draw another current than the run file says: the resistances
// do not depend on it, but some other load may have been lit than the one that is named.
func (j *judged) findLoads() {
	if j.doubt || j.out.Unread() {
		return
	}
	var parts []string
	for k, step := range j.run.Steps {
		read := false
		for _, x := range j.out.Readings {
			read = read || x.Used && x.Step == step.Name
		}
		if !read || !step.Lit() {
			continue
		}
		factor, deviation := j.est.Load(k)
		if off := math.Abs(factor - 1); off > unlikeLoad && off > surely*deviation {
			parts = append(parts, fmt.Sprintf("%.0f %% in step %q", 100*factor, step.Name))
		}
	}
	if len(parts) > 0 {
		j.say(assessment.Notice, "load", "The pixels draw "+strings.Join(parts, ", ")+" of what the run file says. The resistances do not hang on that; if another load was lit, or the controller limits or bends the levels, say so in the run file.")
	}
}

package judge

import (
	"fmt"
	"math"
	"strings"

	"ohmkeep/internal/result/assessment"
)

const (
	// minLoadDifference is the least relative difference of a step's current from the run file that
	// is reported; data sheets state typical currents (common practice, no source).
	minLoadDifference = 0.2
	// loadSigmas is how many standard deviations the difference must be.
	loadSigmas = 3.0
)

// reportLoads reports steps whose current differs from the run file's: a different load may have been
// lit, or something unlisted carries the difference. The resistances depend on the second alone.
func (j *judgement) reportLoads() {
	if !j.est.Fit.Converged {
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
		if off := math.Abs(factor - 1); off > minLoadDifference && off > loadSigmas*deviation {
			parts = append(parts, fmt.Sprintf("%.0f %% in step %q", 100*factor, step.Name))
		}
	}
	if len(parts) > 0 {
		j.addFinding(assessment.Notice, "load", "The pixels draw "+strings.Join(parts, ", ")+" of what the run file says. If another load was lit, or the controller limits or changes the levels, state it in the run file: no resistance depends on that. But if a feed, a wire or a lamp is missing in the run file, the resistances are wrong by as much. Look for one.")
	}
}

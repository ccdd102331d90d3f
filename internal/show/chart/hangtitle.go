package chart

import (
	"fmt"
	"strings"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/text/printable"
)

// title is what the picture shows, for those who cannot see it.
func (h *hang) title() string {
	var parts []string
	for _, verdict := range []assessment.Verdict{assessment.Fail, assessment.Unproven} {
		for _, e := range h.inOrder() {
			if e.Verdict == verdict {
				parts = append(parts, fmt.Sprintf("%s %s %s", e.Kind, printable.Short(e.Name, 30), verdict))
			}
		}
	}
	if h.lit.Feed != "" {
		parts = append([]string{"clamp on feed " + printable.Short(h.lit.Feed, 30)}, parts...)
	}
	for i := len(h.lit.Points) - 1; i >= 0; i-- {
		parts = append([]string{fmt.Sprintf("tip %d at %s", i+1, h.run.PointName(h.lit.Points[i]))}, parts...)
	}
	title := titled(printable.Short(h.run.Name, 60), "as it hangs")
	if len(parts) > 0 {
		title += "; " + strings.Join(parts, ", ")
	}
	return title
}

// inOrder returns what is known of the run's elements, along the run.
func (h *hang) inOrder() []HangElement {
	var out []HangElement
	for _, f := range h.run.Feeds {
		out = append(out, h.element(run.KindFeed, f.Name))
	}
	for _, r := range h.run.Reels {
		out = append(out, h.element(run.KindReel, r.Name))
	}
	for _, j := range h.run.Joints {
		out = append(out, h.element(run.KindJoint, j.Name))
	}
	return out
}

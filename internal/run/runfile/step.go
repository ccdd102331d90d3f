package runfile

import (
	"fmt"
	"slices"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
)

func (r *reader) readSteps() {
	r.steps = r.root.Tables("step")
	taken := names{}
	for _, t := range r.steps {
		step := run.Step{Name: r.readTitle(t, taken), Levels: map[string]float64{}}
		for _, channel := range colours {
			if x, ok := t.Number(channel); ok {
				if !level.holds(x) {
					t.Fault(channel, fmt.Sprintf("%g is not a level", x), "a level is a fraction from 0 to 1: 5 % is 0.05")
				}
				step.Levels[channel] = x
			}
		}
		r.run.Steps = append(r.run.Steps, step)
	}
}

// resolveSteps checks the channels that the steps set, and resolves the design step.
func (r *reader) resolveSteps() {
	var channels []string
	for _, reel := range r.run.Reels {
		for _, c := range reel.Strip.Channels {
			if !slices.Contains(channels, c.Name) {
				channels = append(channels, c.Name)
			}
		}
	}
	var all []string
	for i, t := range r.steps {
		all = append(all, r.run.Steps[i].Name)
		for _, channel := range colours {
			if t.Has(channel) && !slices.Contains(channels, channel) {
				t.Fault(channel, "is not a channel of the run", fault.Suggest(channel, channels))
			}
		}
	}
	r.run.Limits.DesignStep = -1
	if limits, ok := r.root.Table("limits"); ok {
		if name, ok := limits.Text("design_step"); ok {
			if r.run.Limits.DesignStep = r.run.StepIndex(name); r.run.Limits.DesignStep < 0 {
				unknownName(limits, "design_step", "step", name, all)
			}
		}
	}
}

// usualLimits apply where the file states none (common practice, no source; the drop is that of NEC
// 210.19(A), informational note).
var usualLimits = run.Limits{
	JointOhms: 0.015, FeedDrop: 0.03, FeedExcess: 0.25, ConnectorOhms: 0.010,
	ReelExcess: 0.25, ColourShift: 0.004, Dimming: 0.30, DesignStep: -1,
}

func (r *reader) readLimits() {
	r.run.Limits = usualLimits
	t, ok := r.root.Table("limits")
	if !ok {
		return
	}
	l := &r.run.Limits
	for _, key := range []struct {
		name string
		to   *float64
		part float64 // how many of the file's unit are one of ours
		in   span
	}{
		{"joint_milliohms", &l.JointOhms, 1000, limit},
		{"feed_drop_percent", &l.FeedDrop, 100, span{0, 100, true, " %"}},
		{"feed_excess_percent", &l.FeedExcess, 100, limitPercent},
		{"connector_milliohms", &l.ConnectorOhms, 1000, milliohms},
		{"reel_excess_percent", &l.ReelExcess, 100, limitPercent},
		{"colour_shift", &l.ColourShift, 1, shift},
		{"dimming_percent", &l.Dimming, 100, span{0, 100, true, " %"}},
	} {
		if x, ok := readNumber(t, key.name, key.in); ok {
			*key.to = x / key.part
		}
	}
	t.Text("design_step")
}

package recorder

import (
	"fmt"
	"path/filepath"
	"slices"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/run"
	"ohmkeep/internal/watch/probe"
)

// Plan is what is recorded: a run, and the profiles of its probes in their order.
// Every probe has its meter.
type Plan struct {
	Run      *run.Run
	Profiles []*profile.Profile
	Dir      string // the run file's folder; paths of transcripts are relative to it
}

// NewPlan returns the plan of a run file. The error is a fault.List: no channel has a place in
// the run, a channel's meter has no range for its quantity, or a probe is simulated although
// simulated is false.
func NewPlan(file string, r *run.Run, profiles []*profile.Profile, simulated bool) (Plan, error) {
	placed := 0
	var faults fault.List
	for _, p := range r.Probes {
		if p.Port == probe.Simulated && !simulated && slices.ContainsFunc(p.Channels, func(c run.ProbeChannel) bool { return c.From != "" }) {
			faults.Add(fault.Fault{File: file, Key: "probe " + p.Name + ": port", Text: "simulated values are not measured",
				Hint: "--simulated stores them nevertheless; use a separate store"})
		}
		for _, c := range p.Channels {
			if c.From == "" {
				continue
			}
			placed++
			if m := r.Meters[p.Meter]; !m.Measures(c.Quantity) && !m.Shows(c.Quantity, 0) {
				faults.Add(fault.Fault{File: file, Key: "probe " + p.Name + ": channel " + c.ID,
					Text: fmt.Sprintf("meter %q has no %s range", m.Name, c.Quantity), Hint: "add a [[meter.range]] for it"})
			}
		}
	}
	if placed == 0 {
		faults.Add(fault.Fault{File: file, Key: "probe", Text: "no probe has a channel with its place in the run",
			Hint: "add [[probe]] and [[probe.channel]] with from"})
	}
	return Plan{Run: r, Profiles: profiles, Dir: filepath.Dir(file)}, faults.Err()
}

package runfile

import (
	"fmt"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/toml"
)

// usualJoint is the loop resistance of a joint in mΩ for which the file states none (common
// practice, no source).
const usualJoint = 3

// readJoints reads the joints of the file, before they are matched to reels.
func (r *reader) readJoints() {
	r.joints = r.root.Tables("joint")
	for _, t := range r.joints {
		if !t.Has("between") {
			t.Missing("between", `the two reels: between = ["west", "north"]`)
		}
		t.Texts("between")
		r.listed = append(r.listed, run.Joint{
			Limit:   readNumberOr(t, "limit_milliohms", 0, limit) / 1000,
			Ohms:    readNumberOr(t, "milliohms", usualJoint, milliohms) / 1000,
			Type:    readText(t, "type"),
			PlusCut: readChoice(t, "plus", []string{"joined", "cut"}, 0) == 1,
		})
	}
}

// makeJoints creates a joint between every two consecutive reels, then sets the values of those
// that the file lists.
func (r *reader) makeJoints() {
	taken := map[string]int{}
	for i, reel := range r.run.Reels {
		if reel.Follows < 0 {
			continue
		}
		name := r.run.Reels[reel.Follows].Name + "-" + reel.Name
		if before, ok := taken[name]; ok {
			r.reels[i].Fault("name", fmt.Sprintf("two joints come out as %q", name),
				fmt.Sprintf("rename this reel or %q", r.run.Reels[before].Name))
		}
		taken[name] = i
		r.run.Joints = append(r.run.Joints, run.Joint{
			Name: name, From: reel.Follows, To: i, Limit: r.run.Limits.JointOhms, Ohms: usualJoint / 1000.0,
		})
	}
	said := map[int]*toml.Table{}
	for i, t := range r.joints {
		at := r.findJoint(t)
		if at < 0 {
			continue
		}
		joint := &r.run.Joints[at]
		if before, ok := said[at]; ok {
			t.Fault("between", fmt.Sprintf("joint %s is already on line %d", joint.Name, before.Line("")), "")
		}
		said[at] = t
		joint.Ohms, joint.PlusCut, joint.Type = r.listed[i].Ohms, r.listed[i].PlusCut, r.listed[i].Type
		if r.listed[i].Limit > 0 {
			joint.Limit = r.listed[i].Limit
		}
	}
}

// findJoint returns the index of the joint that a table names, or -1 after a fault.
func (r *reader) findJoint(t *toml.Table) int {
	between, ok := t.Texts("between")
	if !ok {
		return -1
	}
	if len(between) != 2 {
		t.Fault("between", fmt.Sprintf("names %d reels", len(between)), "a joint is between two")
		return -1
	}
	var all []string
	for i, j := range r.run.Joints {
		all = append(all, j.Name)
		from, to := r.run.Reels[j.From].Name, r.run.Reels[j.To].Name
		if from == between[0] && to == between[1] {
			return i
		}
		if from == between[1] && to == between[0] {
			t.Fault("between", "names the reels in the wrong order", fmt.Sprintf("[%q, %q]: the data flows that way", from, to))
			return -1
		}
	}
	t.Fault("between", fmt.Sprintf("no joint is %s-%s", between[0], between[1]), fault.Suggest(between[0]+"-"+between[1], all))
	return -1
}

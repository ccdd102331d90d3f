package cli

import (
	"fmt"
	"slices"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
)

// elementNames returns the name of each element, as short as it is unique.
func elementNames(r *run.Run) []string {
	var all [][2]string // kind, name
	for _, j := range r.Joints {
		all = append(all, [2]string{"joint", j.Name})
	}
	for _, f := range r.Feeds {
		all = append(all, [2]string{"feed", f.Name})
	}
	for _, reel := range r.Reels {
		all = append(all, [2]string{"reel", reel.Name})
	}
	for _, s := range r.Supplies {
		all = append(all, [2]string{"supply", s.Name})
	}
	times := map[string]int{}
	for _, x := range all {
		times[x[1]]++
	}
	var names []string
	for _, x := range all {
		if times[x[1]] > 1 {
			names = append(names, x[0]+":"+x[1])
		} else {
			names = append(names, x[1])
		}
	}
	return names
}

// checkElement returns an error if no element of the run has a name. It checks before any
// work is done.
func checkElement(r *run.Run, name string) error {
	var all []string
	add := func(kind, name string) { all = append(all, name, kind+":"+name) }
	for _, j := range r.Joints {
		add("joint", j.Name)
	}
	for _, f := range r.Feeds {
		add("feed", f.Name)
	}
	for _, reel := range r.Reels {
		add("reel", reel.Name)
	}
	for _, s := range r.Supplies {
		add("supply", s.Name)
	}
	if slices.Contains(all, name) {
		return nil
	}
	return fault.Fault{Key: "--explain", Text: fmt.Sprintf("no joint, feed, reel or supply is named %q", name),
		Hint: fault.Suggest(name, elementNames(r))}
}

package drift

import (
	"fmt"
	"slices"
	"strings"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
)

// Misnamed returns an error if a note seems to name a feed, joint or reel that the run does not
// have: a word after "feed", "joint" or "reel", or a word with a hyphen, that is almost a name;
// or one after them that is written as names are, with a hyphen or a digit. The error names the
// names that there are. Other words are no names.
func Misnamed(text string, r *run.Run) error {
	byKind := map[string][]string{}
	var all []string
	for _, f := range r.Feeds {
		byKind["feed"] = append(byKind["feed"], f.Name)
	}
	for _, j := range r.Joints {
		byKind["joint"] = append(byKind["joint"], j.Name)
	}
	for _, reel := range r.Reels {
		byKind["reel"] = append(byKind["reel"], reel.Name)
	}
	for _, names := range byKind {
		all = append(all, names...)
	}
	slices.Sort(all)
	before := ""
	for _, w := range words(text) {
		names, kind := byKind[before], before
		before = w
		is := func(name string) bool {
			return strings.EqualFold(name, w) || strings.Contains(name, " ") && strings.Contains(strings.ToLower(name), w)
		}
		named := strings.ContainsAny(w, "0123456789-")
		switch {
		case slices.ContainsFunc(all, is):
			continue
		case kind == "joint" && len(numbersOf("joint", []string{kind, w})) > 0:
			continue // Concerns counts them
		case names == nil:
			if !strings.Contains(w, "-") {
				continue
			}
			names, kind, named = all, "joint, feed or reel", false
		}
		if _, near := fault.Nearest(w, names); near || named {
			return fault.Fault{Text: fmt.Sprintf("the run has no %s %q", kind, w), Hint: fault.Suggest(w, names)}
		}
	}
	return nil
}

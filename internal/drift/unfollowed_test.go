package drift

import (
	"slices"
	"testing"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run/runtest"
)

// An element between sensed places that no reading could follow is listed as unproven, with what is
// missing: a check step, or a current.
func TestUnfollowed(t *testing.T) {
	r := runtest.Parse(t, gallery)
	plain := usual(20)
	plain.Check = ""
	dumb := usual(20)
	dumb.Currents = false
	for _, c := range []struct {
		name string
		why  map[string]string // by element; those left out are followed
	}{
		{"no check", map[string]string{"reel west": "no known step was seen", "joint west-north": "no known step was seen", "reel north": "no known step was seen",
			"joint north-east": "no known step was seen", "reel east": "no known step was seen"}},
		{"no currents", map[string]string{"feed near": "its current is not read", "reel west": "no feed's current is read", "joint west-north": "no feed's current is read",
			"reel north": "no feed's current is read", "joint north-east": "no feed's current is read", "reel east": "no feed's current is read"}},
	} {
		story := plain
		if c.name == "no currents" {
			story = dumb
		}
		var names []string
		for _, s := range judged(t, r, story, 4).Series {
			name := string(s.Kind) + " " + s.Name
			names = append(names, name)
			why, missing := c.why[name]
			if missing != (s.Verdict == history.Unproven) || s.Why != why || missing && (s.Ohms == s.Ohms || len(s.Nights) > 0) {
				t.Errorf("%s: %s is %s, %q", c.name, name, s.Verdict, s.Why)
			}
		}
		if want := []string{"feed near", "reel west", "joint west-north", "reel north", "joint north-east", "reel east"}; !slices.Equal(names, want) {
			t.Errorf("%s: %v, want %v", c.name, names, want)
		}
	}
}

package elements

import (
	"slices"
	"testing"

	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
)

// Elements lie between neighbouring sensed places, and are called what they are.
func TestElementsBetweenPlaces(t *testing.T) {
	r := runtest.Load(t, "testdata/wall.toml")
	for _, c := range []struct {
		places []string
		want   []string
	}{
		{[]string{"A", "block", "low.start", "low.end", "middle.start", "middle.end", "high.start", "high.end"},
			[]string{"feed bus", "feed near", "feed far", "reel low", "joint low-middle", "reel middle", "joint middle-high", "reel high"}},
		{[]string{"block", "low.start", "high.end"}, []string{"feed near", "feed far", "path low.start-high.end"}},
		{[]string{"block", "high.end"}, []string{"feed far", "path block-high.end"}},
		{[]string{"A", "low.start"}, []string{"path A-low.start"}},
		{[]string{"low.start", "low.20", "low.end"}, []string{"path low.start-low.20", "path low.20-low.end"}},
		{[]string{"A"}, nil},
	} {
		var places []run.Place
		for _, name := range c.places {
			p, err := r.Place(name)
			if err != nil {
				t.Fatal(err)
			}
			places = append(places, p)
		}
		var got []string
		for _, e := range Elements(r, places) {
			got = append(got, string(e.Kind)+" "+e.Name)
		}
		slices.Sort(got)
		slices.Sort(c.want)
		if !slices.Equal(got, c.want) {
			t.Errorf("%v sensed: %v, not %v", c.places, got, c.want)
		}
	}
}

// A joint whose plus is parted joins no pair.
func TestCutJointIsNoElement(t *testing.T) {
	r := runtest.Load(t, "testdata/wall.toml")
	r.Joints[0].PlusCut = true
	places := []run.Place{{Kind: run.AtReel, Index: 0, Pixel: 60}, {Kind: run.AtReel, Index: 1, Pixel: 1}}
	for _, e := range Elements(r, places) {
		if e.Joints > 0 {
			t.Errorf("%+v", e)
		}
	}
}

package run

import "testing"

// A section keeps what its reels need: their joints, the feeds that lead to them through
// junctions, every supply; the rest keeps its name and step, and loses its number.
func TestSection(t *testing.T) {
	r := branched()
	s := r.Section([]bool{false, true, true})
	if len(s.Reels) != 2 || s.Reels[0].Name != "north" || s.Reels[0].Follows != -1 || len(s.Joints) != 0 || len(s.Supplies) != 2 {
		t.Errorf("%+v", s)
	}
	var names []string
	for i := range s.Feeds {
		names = append(names, s.Feeds[i].Name)
	}
	if len(names) != 3 || names[0] != "trunk" || names[1] != "far" || names[2] != "dots" {
		t.Errorf("feeds %v", names)
	}
	if name := s.PlaceName(s.Feeds[1].To); name != "north.end" {
		t.Errorf("far leads to %s", name)
	}
	if s.Unreached(Plus) != nil || s.Unreached(Minus) != nil {
		t.Errorf("unreached: %v, %v", s.Unreached(Plus), s.Unreached(Minus))
	}
	s = r.Section([]bool{true, true, false})
	if len(s.Joints) != 1 || s.Reels[1].Follows != 0 || len(s.Feeds) != 3 {
		t.Errorf("%+v", s)
	}
	if len(r.Reels) != 3 || r.Reels[2].Follows != -1 || len(r.Feeds) != 4 {
		t.Error("the run itself was changed")
	}
}

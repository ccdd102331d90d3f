package estimate

import (
	"ohmkeep/internal/measurement/invented"
	"testing"
)

// What no range shows is out for good and is no slip to be weighed against an open
// conductor; a suspect is.
func TestBarredReadingsAreNoSlips(t *testing.T) {
	r, list := invented.Cornice()
	list[9].Value *= 1000
	posed, err := pose(r, list)
	if err != nil {
		t.Fatal(err)
	}
	p := &hypothesis{problem: posed}
	if n := p.leftOut(); n != 0 || !p.observations[9].out {
		t.Errorf("%d left out, barred one out %v", n, p.observations[9].out)
	}
	p.observations[3].out = true
	if n := p.leftOut(); n != 1 {
		t.Errorf("%d left out, not 1", n)
	}
	p.setMarks(nil)
	if !p.observations[9].out || p.observations[3].out {
		t.Error("marks taken off: what is barred must stay out, and nothing else")
	}
}

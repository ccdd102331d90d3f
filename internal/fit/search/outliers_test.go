package search

import (
	"testing"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
)

// A reading out of its meter's range is excluded for good and does not count as an outlier in the
// test for open conductors.
func TestOutOfRangeReadingsAreNoOutliers(t *testing.T) {
	r, list := modeltest.Cornice()
	list[9].Value *= 1000
	problem, err := model.New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	p := &hypothesis{Problem: problem}
	if n := p.excludedCount(); n != 0 || !p.Observations[9].Excluded {
		t.Errorf("%d left out, outOfRange one out %v", n, p.Observations[9].Excluded)
	}
	p.Observations[3].Excluded = true
	if n := p.excludedCount(); n != 1 {
		t.Errorf("%d left out, not 1", n)
	}
	p.setExclusions(nil)
	if !p.Observations[9].Excluded || p.Observations[3].Excluded {
		t.Error("marks taken off: what is outOfRange must stay out, and nothing else")
	}
}

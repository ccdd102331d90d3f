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
	m, err := model.New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	a := m.Assume()
	if n := a.ExcludedCount(); n != 0 || !a.Excluded[9] {
		t.Errorf("%d left out, outOfRange one out %v", n, a.Excluded[9])
	}
	a = a.Excluding(3)
	if n := a.ExcludedCount(); n != 1 {
		t.Errorf("%d left out, not 1", n)
	}
	if a = a.ExcludingOnly(nil); !a.Excluded[9] || a.Excluded[3] {
		t.Error("marks taken off: what is outOfRange must stay out, and nothing else")
	}
}

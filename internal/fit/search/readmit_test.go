package search

import (
	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
	"slices"
	"testing"
)

// A good reading excluded because of a wrong one is readmitted once that is excluded. The wrong
// reading stays excluded, and so does one out of range.
func TestReadmit(t *testing.T) {
	const wrong, outOfRange, good = 11, 27, 20
	r, list := modeltest.Cornice()
	list[wrong].Value += 0.3
	m, err := model.New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	never := make([]bool, len(list))
	never[outOfRange] = true
	fit, err := solved(t, m, m.Assume().ExcludingForGood(never).Excluding(wrong).Excluding(good)).readmit()
	if err != nil {
		t.Fatal(err)
	}
	if got := numbers(fit.Assumptions.Excluded); !slices.Equal(got, []int{wrong, outOfRange}) {
		t.Errorf("left out are %v", got)
	}
	if fit.Residuals[good] == 0 || fit.Residuals[wrong] != 0 {
		t.Error("the fit is not one with the reading that was taken back")
	}
}

// A good reading is not excluded for good because of an earlier explanation.
func TestGoodReadingComesBack(t *testing.T) {
	r, list := modeltest.Cornice()
	m, err := model.New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	fit, err := solved(t, m, m.Assume().Excluding(20)).withoutOutliers()
	if err != nil || fit.Assumptions.ExcludedCount() != 0 {
		t.Errorf("left out are %v (%v)", numbers(fit.Assumptions.Excluded), err)
	}
}

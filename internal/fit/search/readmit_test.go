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
	problem, err := model.New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	p := &hypothesis{Problem: problem}
	for _, i := range []int{wrong, outOfRange, good} {
		p.Observations[i].Excluded = true
	}
	p.Observations[outOfRange].ExcludedForGood = true
	fit, err := p.Solve(p.Start())
	if err != nil {
		t.Fatal(err)
	}
	fit, err = p.readmit(fit)
	if err != nil {
		t.Fatal(err)
	}
	if got := numbers(p.exclusions()); !slices.Equal(got, []int{wrong, outOfRange}) {
		t.Errorf("left out are %v", got)
	}
	if fit.Residuals[good] == 0 || fit.Residuals[wrong] != 0 {
		t.Error("the fit is not one with the reading that was taken back")
	}
}

// A good reading is not excluded for good because of an earlier explanation.
func TestGoodReadingComesBack(t *testing.T) {
	r, list := modeltest.Cornice()
	problem, err := model.New(r, list)
	if err != nil {
		t.Fatal(err)
	}
	p := &hypothesis{Problem: problem}
	p.Observations[20].Excluded = true
	fit, err := p.Solve(p.Start())
	if err != nil {
		t.Fatal(err)
	}
	if _, err = p.withoutOutliers(fit); err != nil || p.excludedCount() != 0 {
		t.Errorf("left out are %v (%v)", numbers(p.exclusions()), err)
	}
}

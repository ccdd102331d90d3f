package search

import (
	"testing"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
)

// Without readings nothing is contradicted, and no conductor is suspected to be open.
func TestNothingReadIsPlausible(t *testing.T) {
	r, _ := modeltest.Cornice()
	m, err := model.New(r, nil)
	if err != nil {
		t.Fatal(err)
	}
	if least := solved(t, m, m.Assume()).leastStepPValue(); least != 1 {
		t.Errorf("p = %g of no step", least)
	}
}

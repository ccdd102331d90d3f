package model

import (
	"slices"
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/reading"
)

// A repetition has the readings that repeat the one before them in the same step and range, at
// another place. Readings of other steps and ranges may lie between them.
func TestRepetitions(t *testing.T) {
	r, all := modeltest.Cornice()
	var places []reading.Reading // pair voltages of the first lit step
	for _, x := range all {
		if len(places) == 0 || x.Step == places[0].Step && x.Unit == places[0].Unit {
			places = append(places, x)
		}
	}
	if len(places) < 5 {
		t.Fatalf("%d places", len(places))
	}
	other := all[len(all)-1] // of another step
	other.Text, other.Value = "4.8", 4.8
	at := func(place int, volts float64) reading.Reading {
		x := places[place]
		x.Value = volts
		return x
	}
	for _, c := range []struct {
		name string
		list []reading.Reading
		want []int
	}{
		{"two repeats", []reading.Reading{at(0, 4.8), at(1, 4.8), at(2, 4.8), at(3, 4.7)}, []int{0, 1, 1, 0}},
		{"one repeat", []reading.Reading{at(0, 4.8), at(1, 4.8), at(2, 4.7)}, []int{0, 0, 0}},
		{"the same place", []reading.Reading{at(0, 4.8), at(0, 4.8), at(0, 4.8)}, []int{0, 0, 0}},
		{"another step between", []reading.Reading{at(0, 4.8), other, at(1, 4.8), at(2, 4.8)}, []int{0, 0, 1, 1}},
		{"two of them", []reading.Reading{at(0, 4.8), at(1, 4.8), at(2, 4.8), at(0, 4.7), at(3, 4.7), at(4, 4.7)}, []int{0, 1, 1, 0, 2, 2}},
	} {
		m, err := New(r, c.list)
		if err != nil {
			t.Fatal(err)
		}
		var got []int
		for _, o := range m.Observations {
			got = append(got, o.Repetition)
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

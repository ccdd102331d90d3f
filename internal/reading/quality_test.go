package reading_test

import (
	"testing"

	"ohmkeep/internal/reading"
)

// The bits stand in stores that were written years ago.
func TestQualityBitsAreThoseOnDisk(t *testing.T) {
	for _, c := range []struct {
		q        reading.Quality
		bits     uint8
		name     string
		measured bool
	}{
		{reading.Good, 0, "good", true},
		{reading.Overload, 1, "overload", false},
		{reading.Saturated, 2, "saturated", false},
		{reading.Unsettled, 4, "unsettled", false},
		{reading.ClockUncertain, 8, "clock uncertain", true},
		{reading.Faulty, 16, "faulty", false},
		{reading.Overload | reading.ClockUncertain, 9, "overload, clock uncertain", false},
	} {
		if uint8(c.q) != c.bits || c.q.String() != c.name || c.q.Measured() != c.measured {
			t.Errorf("%d %q, measured %v; want %d %q, %v", uint8(c.q), c.q, c.q.Measured(), c.bits, c.name, c.measured)
		}
	}
	if reading.Quality(64).Measured() {
		t.Error("a mark of a newer version is taken for good")
	}
}

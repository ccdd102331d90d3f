package interval

import "testing"

// An interval that is cut, widened or moved still contains its value.
func TestIntervalContainsItsValue(t *testing.T) {
	i := New(2, 1, 4)
	for _, c := range []struct{ got, want Interval }{
		{i.Clamp(0, 3), New(2, 1, 3)},
		{i.Clamp(2.5, 3), New(2, 2, 3)},
		{i.Clamp(0, 1.5), New(2, 1, 2)},
		{i.Including(5), New(2, 1, 5)},
		{i.Including(0.5), New(2, 0.5, 4)},
		{i.MovedTo(10), New(10, 9, 12)},
		{Exact(3), New(3, 3, 3)},
	} {
		if c.got != c.want {
			t.Errorf("%+v, want %+v", c.got, c.want)
		}
	}
}

package prior

import (
	"math"
	"testing"
)

// Residuals of splits, in standard deviations: the conductors of a cable are similar, a bad
// contact may be in one of them, and an open rail has a small residual.
func TestSplits(t *testing.T) {
	x := make([]float64, 3)
	at := func(plus, minus float64) []float64 {
		x[0], x[1] = Transform(plus), Transform(minus)
		return x
	}
	row := make([]float64, len(x))
	feed := Split{Rails: [2]int{0, 1}, Transformed: true, ShareAbout: EvenShare, Spread: FeedSplitSpread, Wire: 0.080}
	joint := Split{Rails: [2]int{0, 1}, Transformed: true, ShareAbout: EvenShare, Spread: JointSplitSpread}
	for _, c := range []struct {
		what        string
		s           Split
		plus, minus float64
		low, high   float64
	}{
		{"a sound cable", feed, 0.042, 0.040, 0, 1},
		{"a cable half of which is another", feed, 0.050, 0.030, 3, 5},
		{"a bad contact", feed, 0.140, 0.040, 1, 2},
		{"a small one", feed, 0.060, 0.040, 1, 2},
		{"a bad joint in one rail", joint, 0.100, 0.002, 1, 2},
		{"an open one", joint, 1e5, 0.002, 1, 2},
	} {
		if z := c.s.Row(at(c.plus, c.minus), row); z < c.low || z > c.high {
			t.Errorf("%s lies %.2f deviations off, want %g to %g", c.what, z, c.low, c.high)
		}
		if z := c.s.Row(at(c.minus, c.plus), row); z > -c.low || z < -c.high {
			t.Errorf("%s, in the other rail, lies %.2f deviations off", c.what, z)
		}
	}
	// A reel's share is compared with that of its foil: 60 % in the minus here.
	reel := Split{Rails: [2]int{0, 1}, ShareAbout: 2, Spread: FoilShareSpread}
	x = []float64{0.8, 1.2, -0.2}
	if z := reel.Row(x, row); math.Abs(z) > 1e-12 {
		t.Errorf("a reel like its foil lies %g off", z)
	}
	x[2] = 0
	if z := reel.Row(x, row); math.Abs(z+0.2/(2*FoilShareSpread)) > 1e-12 {
		t.Errorf("a reel unlike its foil lies %g off", z)
	}
}

package scan

import (
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
)

// A day of many scans is thinned evenly, and the few scans of a known step are all kept.
func TestThinning(t *testing.T) {
	r := runtest.Load(t, "../elements/testdata/wall.toml")
	c := NewCollector(r, nil)
	const every, rounds, check = 100 * time.Millisecond, 200_000, 600
	step := r.Steps[0].Name
	for i := range rounds {
		x := reading.Reading{Time: spring.Add(time.Duration(i) * every), Quantity: run.Voltage, From: "A+", To: "A-", Value: float64(i), Meter: "board"}
		if i >= rounds/2 && i < rounds/2+check {
			x.Step = step
		}
		c.Add(&x)
	}
	c.Finish()
	inStep, free, halved := 0, 0, c.thinned[0].halved
	last := int64(0)
	for i, s := range c.Scans {
		if s.Step >= 0 {
			inStep++
			continue
		}
		free++
		if s.Volts[0] != float64(time.Duration(s.At-spring.UnixNano())/every) {
			t.Fatalf("round %d holds what another round read", i)
		}
		if gap := s.At - last; last > 0 && gap > 2*int64(every)<<halved+check*int64(every) {
			t.Fatalf("a gap of %v", time.Duration(gap))
		}
		last = s.At
	}
	if inStep != check || free > mostScans || free < mostScans/2-1 || halved != 5 {
		t.Errorf("%d rounds of the step, %d of none, halved %d times", inStep, free, halved)
	}
}

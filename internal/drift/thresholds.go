package drift

// The conditions of a call. The figures were chosen by simulation (tradeoff_test.go).
const (
	wireWarm      = 0.01  // and this part of the wire, whose temperature is known to a few K
	seasonWarm    = 0.045 // and of a ramp: a thermometer may miss a third of seasons of ±17 K
	wireCold      = 0.09  // the same where no temperature is read: 23 K, the weather of a week
	seasonCold    = 0.16  // and that of a year
	shapeEvidence = 9.0   // least difference of the falls of the sum of squares between the two shapes
	changeSigmas  = 3.5   // size of a change over the scatter of the nights about it
	// aloneNights is from how many nights on a change counts as better known than one night.
	aloneNights  = 8.0
	nightsBefore = 3    // nights before a jump
	rampDays     = 14.0 // that a ramp must last
	rampNights   = 8
	// The gate has much lower thresholds than the test after it.
	gateSlack = 0.5
	gateLimit = 5.0
	gateSlow  = 0.1 // weight of the slow average, with limits of 2.814 (run length 500)
	gateWidth = 2.814
)

// thresholds are the least size and evidence of a change that is called.
type thresholds struct {
	jump, ramp float64 // Ω, the least that counts
	evidence   float64 // fall of the weighted sum of squares
}

// defaultThresholds need five milliohms and six standard deviations.
var defaultThresholds = thresholds{jump: 0.005, ramp: 0.005, evidence: 40}

// least returns the smallest jump and gain of a ramp that are called.
func (s *State) least(t *track) (jump, ramp float64) {
	c := s.limits()
	warmed := 0
	for i := max(0, len(t.Points)-30); i < len(t.Points); i++ {
		if t.Points[i].is(warm) {
			warmed++
		}
	}
	if 2*warmed > min(30, len(t.Points)) {
		return c.jump + wireWarm*t.Wire, c.ramp + seasonWarm*t.Wire
	}
	return c.jump + wireCold*t.Wire, c.ramp + seasonCold*t.Wire
}

// limits returns the thresholds of the State.
func (s *State) limits() thresholds {
	if s.stricter == (thresholds{}) {
		return defaultThresholds
	}
	return s.stricter
}

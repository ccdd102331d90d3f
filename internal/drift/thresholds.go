package drift

// Thresholds for reporting a change. The values were chosen by simulation (tradeoff_test.go).
const (
	// minJumpPart is the part of the wire's resistance that is added to the least jump: the wire's
	// temperature is known within 2.5 K. minJumpPartUnread applies where no temperature is read:
	// 23 K, the weather of a week.
	minJumpPart       = 0.01
	minJumpPartUnread = 0.09
	// minRampPart and minRampPartUnread are the same for a ramp: a thermometer may miss a third of
	// seasons of ±17 K; without one, the weather of a year.
	minRampPart       = 0.045
	minRampPartUnread = 0.16
	// shapeEvidence is the least difference between the reductions of the weighted sum of squares by
	// a jump and by a ramp.
	shapeEvidence = 9.0
	// changeSigmas is the least size of a change, in standard deviations of the nights about it. From
	// averagingNights on, a change counts as known better than one night.
	changeSigmas    = 3.5
	averagingNights = 8.0
	nightsBefore    = 3    // least number of nights before a jump
	rampDays        = 14.0 // least duration of a ramp, days
	rampNights      = 8    // least number of nights of a ramp
	// A CUSUM (slack and limit of its sum) and an EWMA (weight of a night, limit for a run length of
	// 500 nights) decide whether the full test is made. All are in standard deviations of a night.
	gateSlackSigmas   = 0.5
	gateSumSigmas     = 5.0
	gateAverageWeight = 0.1
	gateAverageSigmas = 2.814
)

// thresholds are the least size and evidence of a change that is reported.
type thresholds struct {
	jump, ramp float64 // Ω, least jump, and least rise or fall of a ramp in all
	evidence   float64 // least reduction of the weighted sum of squares
}

// defaultThresholds are 5 mΩ and an evidence of 40, about six standard deviations.
var defaultThresholds = thresholds{jump: 0.005, ramp: 0.005, evidence: 40}

// least returns the smallest jump and the smallest change by a ramp that are reported, Ω.
func (s *State) least(t *track) (jump, ramp float64) {
	c := s.limits()
	warmed := 0
	for i := max(0, len(t.Points)-30); i < len(t.Points); i++ {
		if t.Points[i].is(temperatureRead) {
			warmed++
		}
	}
	if 2*warmed > min(30, len(t.Points)) {
		return c.jump + minJumpPart*t.Wire, c.ramp + minRampPart*t.Wire
	}
	return c.jump + minJumpPartUnread*t.Wire, c.ramp + minRampPartUnread*t.Wire
}

// limits returns the thresholds of the State.
func (s *State) limits() thresholds {
	if s.stricter == (thresholds{}) {
		return defaultThresholds
	}
	return s.stricter
}

package drift

import (
	"math"
	"slices"

	"ohmkeep/internal/control"
	"ohmkeep/internal/trend"
)

// What a change must be to be called. Figures were chosen from the simulation that
// DEVELOPERS.md shows.
const (
	wireStep   = 0.01 // and this part of the wire, whose temperature is known to a few K
	wireCold   = 0.05 // the same where no temperature is read: the weather of a week
	seasonCold = 0.16 // and that of a year
	apartness  = 9.0  // by which one shape must explain more than the other
	before     = 3    // nights before a step
	rampDays   = 14.0 // that a ramp must last
	rampNights = 8
	// The gate is far more willing than what is behind it.
	gateSlack = 0.5
	gateLimit = 5.0
	gateSlow  = 0.1 // weight of the slow average, with limits of 2.814 (run length 500)
	gateWidth = 2.814
)

// caution is how much it takes to call a change.
type caution struct {
	step, ramp float64 // Ω, the least that counts
	evidence   float64 // fall of the weighted sum of squares
}

// usualCaution asks for five milliohms and six deviations.
var usualCaution = caution{step: 0.005, ramp: 0.005, evidence: 40}

// piece is the nights of one stretch as a fit wants them.
type piece struct {
	points    []*point
	x, y, w   []float64
	deviation float64 // Ω, of a usual night
}

// piece gathers the nights between two moments.
func (t *track) piece(from, to int64) piece {
	var p piece
	for i := range t.Points {
		q := &t.Points[i]
		if q.At >= from && q.At < to && !q.is(apart|void) {
			p.points = append(p.points, q)
		}
	}
	t.values(&p)
	return p
}

// values gives each night its value and its weight. What the sensors differ by is taken
// off the drop first, so that a night with another current does not look like one with
// another resistance. The weight follows from the night's own error, enlarged by how
// much neighbours really differ.
func (t *track) values(p *piece) {
	n := len(p.points)
	p.x, p.y, p.w = make([]float64, n), make([]float64, n), make([]float64, n)
	errors := make([]float64, n)
	amps := make([]float64, n)
	for i, q := range p.points {
		amps[i] = math.Abs(float64(q.Amps))
	}
	usualAmps := trend.Median(amps)
	for i, q := range p.points {
		p.x[i], p.y[i], errors[i] = q.days(), t.ohms(q), float64(q.Error)
		if t.Step != "" {
			errors[i] = math.Hypot(errors[i], t.shift(q)*math.Abs(1-amps[i]/usualAmps))
		}
	}
	var differ []float64
	for i := max(1, n-120); i < n; i++ {
		differ = append(differ, math.Abs(p.y[i]-p.y[i-1])/math.Sqrt2)
	}
	factor := 1.0
	if usual := trend.Median(errors); len(differ) >= 6 && usual > 0 {
		factor = max(1, 1.4826*trend.Median(differ)/usual)
	}
	for i, e := range errors {
		p.w[i] = 1 / (factor * factor * e * e)
	}
	p.deviation = factor * trend.Median(errors)
}

// ohms gives a night's resistance, its sensors' difference taken off where it is known.
func (t *track) ohms(q *point) float64 {
	if e := t.era(q.At); t.Step != "" && e.known {
		return t.Nominal + (float64(q.Drop)-e.offset)/float64(q.Amps)
	}
	return float64(q.Ohms)
}

// shift is the standard deviation of what a night's resistance shares with the others
// of the same sensors.
func (t *track) shift(q *point) float64 {
	if e := t.era(q.At); t.Step != "" && e.known {
		return math.Abs(e.wobble / float64(q.Amps))
	}
	return float64(q.Shift)
}

// era is what two sensors differ by as long as they are the same.
type era struct {
	from, to       int64
	known          bool
	offset, wobble float64 // V
}

// era gives the one that a moment lies in.
func (t *track) era(at int64) *era {
	for i := range t.eras {
		if e := &t.eras[i]; at >= e.from && at < e.to {
			return e
		}
	}
	return &era{}
}

// sharedGain is how far the difference of two sensors may change between a dark run and
// one in the check step, as a part of what all nights have in common: the gains act on
// volts that differ by a few percent only.
const sharedGain = 0.08

// findEras works out what the sensors differ by. In one night the drop in the check
// step and in the dark have the same resistance and other currents, which gives both.
func (t *track) findEras() {
	t.eras = t.eras[:0]
	if t.Step == "" {
		return
	}
	from := int64(math.MinInt64)
	for i := 0; i <= len(t.Stretch); i++ {
		if i < len(t.Stretch) && t.Stretch[i].Cause != replaced {
			continue
		}
		e := era{from: from, to: forever}
		if i < len(t.Stretch) {
			e.to = t.Stretch[i].At
		}
		from = e.to
		var offsets, wobbles, common []float64
		for k := range t.Points {
			q := &t.Points[k]
			more := float64(q.Amps - q.Idle)
			if q.At < e.from || q.At >= e.to || q.is(apart|void) || !(q.Offset == q.Offset) || math.Abs(more) < 0.5*math.Abs(float64(q.Amps)) {
				continue
			}
			offsets = append(offsets, (float64(q.Offset)*float64(q.Amps)-float64(q.Drop)*float64(q.Idle))/more)
			wobbles = append(wobbles, float64(q.Wobble)*math.Abs(float64(q.Amps)/more))
			common = append(common, float64(q.Shift)*math.Abs(float64(q.Amps)))
		}
		if n := len(offsets); n >= fewestNights {
			e.known = true
			e.offset = trend.Mean(offsets)
			e.wobble = math.Hypot(trend.Median(wobbles)/math.Sqrt(float64(min(n, 9))), sharedGain*trend.Median(common))
		}
		t.eras = append(t.eras, e)
	}
}

const forever = math.MaxInt64

// latest gives the nights of the last stretch.
func (t *track) latest() piece { return t.piece(t.Stretch[len(t.Stretch)-1].At, forever) }

// least gives the smallest step and gain of a ramp that are called.
func (s *State) least(t *track) (step, ramp float64) {
	c := s.care()
	warmed := 0
	for i := max(0, len(t.Points)-30); i < len(t.Points); i++ {
		if t.Points[i].is(warm) {
			warmed++
		}
	}
	if 2*warmed > min(30, len(t.Points)) {
		return c.step + wireStep*t.Wire, c.ramp + wireStep*t.Wire
	}
	return c.step + wireCold*t.Wire, c.ramp + seasonCold*t.Wire
}

// care is how cautious the State is.
func (s *State) care() caution {
	if s.caution == (caution{}) {
		return usualCaution
	}
	return s.caution
}

// detect looks at a series after a night and gives what it shows for the first time.
func (s *State) detect(t *track) (calls []string) {
	t.findEras()
	s.setApart(t)
	if t.detectBursts() {
		calls = append(calls, "intermittent")
	}
	p := t.latest()
	n := len(p.points)
	last := &t.Stretch[len(t.Stretch)-1]
	if n <= before+1 || !last.Sloped && !p.gate() {
		return calls
	}
	null := control.Null(p.x, p.y, p.w, last.Sloped)
	if math.IsInf(null, 1) {
		return calls
	}
	step, bend := control.Best(p.x, p.y, p.w, last.Sloped)
	if !last.Sloped && bend.At < before { // a series that has never been level
		bend.At = 0
	}
	isStep, isBend := s.isStep(t, &p, step, null), s.isBend(t, &p, bend, null)
	switch {
	case isStep && step.Rest+apartness < bend.Rest:
		return append(calls, s.begin(t, &p, step)...)
	case isBend && (bend.Rest+apartness < step.Rest || p.x[n-1]-p.x[bend.At] > 60 && bend.Rest < step.Rest):
		return append(calls, s.bend(t, &p, bend)...)
	}
	return calls
}

// gate tells whether anything at all happens in a level stretch.
func (p *piece) gate() bool {
	target := trend.Median(p.y[:min(len(p.y), 30)])
	cusum := control.Cusum{Slack: gateSlack, Limit: gateLimit}
	slow := control.Ewma{Weight: gateSlow, Width: gateWidth}
	open := false
	for i, y := range p.y {
		z := (y - target) * math.Sqrt(p.w[i])
		open = cusum.Add(z) || open
		open = slow.Add(z) || open
	}
	return open
}

// isStep holds a step against what is asked of it.
func (s *State) isStep(t *track, p *piece, c control.Course, null float64) bool {
	least, _ := s.least(t)
	after := len(p.points) - c.At
	if c.Shape != control.Step || null-c.Rest < s.care().evidence || math.Abs(c.Size) < least || c.At < before || after < t.patience() {
		return false
	}
	// All of the last nights lie near the new level.
	level := trend.Median(p.y[c.At:])
	old := trend.Median(p.y[max(0, c.At-30):c.At])
	size := level - old
	if math.Abs(size) < least {
		return false
	}
	for i := max(c.At+1, len(p.y)-4); i < len(p.y); i++ {
		if far := math.Abs(p.y[i] - level); far > max(0.35*math.Abs(size), 3.5/math.Sqrt(p.w[i])) || far > 0.7*math.Abs(size) {
			return false
		}
	}
	return true
}

// patience is how many nights a new level must hold: a contact that has come and
// gone before must hold longer.
func (t *track) patience() int {
	newest := t.Points[len(t.Points)-1].Day
	for _, p := range t.Points {
		if newest-p.Day <= 45 && (p.is(apart) || p.Bursts > 0) {
			return 5
		}
	}
	return 2
}

// isBend holds a ramp against what is asked of it.
func (s *State) isBend(t *track, p *piece, c control.Course, null float64) bool {
	n := len(p.points)
	if c.Shape != control.Bend || null-c.Rest < s.care().evidence || n-c.At < rampNights {
		return false
	}
	_, least := s.least(t)
	long := p.x[n-1] - p.x[c.At]
	if long < rampDays || math.Abs(c.Size)*long < least+3*t.slide(p.points[c.At], p.points[n-1]) {
		return false
	}
	rest := make([]float64, 0, n-c.At)
	for i := c.At; i < n; i++ {
		rest = append(rest, p.y[i]-c.Size*(p.x[i]-p.x[c.At]))
	}
	k := trend.MannKendall(p.y[c.At:]).Inflated(trend.Inflation(rest))
	if t.Stretch[len(t.Stretch)-1].Sloped {
		return true // the slope has changed, whatever it is now
	}
	return k.P() < 1e-3
}

// slide is the standard deviation of how far a resistance may seem to move between two
// nights because its current is not the same: what is not known of the sensors' difference
// counts for more where less current flows.
func (t *track) slide(a, b *point) float64 {
	if t.Step == "" {
		return 0
	}
	return t.shift(a) * math.Abs(1-float64(a.Amps)/float64(b.Amps))
}

// begin begins a stretch behind a step, unless the step is a sensor's.
func (s *State) begin(t *track, p *piece, c control.Course) []string {
	at := (p.points[c.At-1].At + p.points[c.At].At) / 2
	called := p.points[len(p.points)-1].At
	if s.sensors(t, p, c.At) {
		t.Stretch = append(t.Stretch, stretch{At: at, Cause: replaced, Called: called, Text: "a sensor's error has changed"})
		return nil
	}
	if s.shifted(t, at, c.Size > 0) {
		t.Stretch = append(t.Stretch, stretch{At: at, Cause: shifted, Called: called, Text: shiftText})
		return nil
	}
	t.Stretch = append(t.Stretch, stretch{At: at, Cause: stepped, Called: called})
	return []string{"step"}
}

const shiftText = "current has moved from one conductor to the other, because something else changed"

// bend begins a stretch where a slope begins or changes.
func (s *State) bend(t *track, p *piece, c control.Course) []string {
	last := &t.Stretch[len(t.Stretch)-1]
	at, called := p.points[c.At].At, p.points[len(p.points)-1].At
	if s.shifted(t, at, c.Size > 0) {
		t.Stretch = append(t.Stretch, stretch{At: at, Cause: shifted, Sloped: true, Called: called, Text: shiftText})
		return nil
	}
	if !last.Sloped || last.Cause == shifted {
		t.Stretch = append(t.Stretch, stretch{At: at, Cause: ramped, Sloped: true, Called: called})
		return []string{"ramp"}
	}
	// The ramp goes on otherwise. It has ended where the new slope is nothing.
	after := trend.LeastSquares(p.x[c.At:], p.y[c.At:], p.w[c.At:])
	_, least := s.least(t)
	still := math.Abs(after.Slope) < 3*after.SlopeError || math.Abs(after.Slope)*365 < least
	t.Stretch = append(t.Stretch, stretch{At: at, Cause: levelled, Sloped: !still, Called: called})
	return nil
}

// setApart marks a night that lies far from both its neighbours and those before:
// the contact was bad, or something was read wrong, for a night.
func (s *State) setApart(t *track) {
	var usual []*point
	from := t.Stretch[len(t.Stretch)-1].At
	for i := range t.Points {
		if p := &t.Points[i]; p.At >= from && !p.is(void|apart) {
			usual = append(usual, p)
		}
	}
	n := len(usual)
	if n < before+2 || t.Stretch[len(t.Stretch)-1].Sloped && n < 12 {
		return
	}
	least, _ := s.least(t)
	for count := 1; count <= 3 && n-1-count >= before; count++ {
		var near []float64
		for _, p := range usual[max(0, n-1-count-7) : n-1-count] {
			near = append(near, t.ohms(p))
		}
		level := trend.Median(near)
		suspects := usual[n-1-count : n-1]
		// The newest night must be back at the level, not half-way.
		back := math.Abs(t.ohms(usual[n-1]) - level)
		if back > min(least, backPart*math.Abs(t.ohms(suspects[0])-level)) {
			continue
		}
		far := func(p *point) bool { return math.Abs(t.ohms(p)-level) > max(least, 6*float64(p.Error)) }
		if !slices.ContainsFunc(suspects, func(p *point) bool { return !far(p) }) {
			for _, p := range suspects {
				p.Flags |= apart
				if rise := t.ohms(p) - level; rise > 0 && p.Bursts == 0 {
					p.Bursts, p.First, p.Rise = 1, p.At, float32(rise)
					p.Samples = max(p.Samples, 1)
				}
			}
		}
	}
}

const (
	backPart    = 0.35 // of how far a night was off, that the one after it may still be
	burstDays   = 10   // the window
	burstLeast  = 4    // bursts in it
	burstNights = 2    // nights of it that have any
	burstRate   = 0.004
	quietDays   = 45 // after which a contact counts as sound again
)

// detectBursts tells whether a contact has begun to fail again and again.
func (t *track) detectBursts() bool {
	newest := t.Points[len(t.Points)-1].Day
	var count, samples, nights int
	var rises []float64
	first, last := int64(0), int64(0)
	for i := len(t.Points) - 1; i >= 0 && newest-t.Points[i].Day < burstDays; i-- {
		p := &t.Points[i]
		samples += int(p.Samples)
		if p.Bursts > 0 {
			count += int(p.Bursts)
			nights++
			first = p.First
			last = max(last, p.At)
			if p.Rise == p.Rise {
				rises = append(rises, float64(p.Rise))
			}
		}
	}
	sleeping := nights >= 3 && samples < 4*nights*burstDays // judged by check steps alone
	many := nights >= burstNights && count >= burstLeast && float64(count) >= burstRate*float64(samples) || sleeping
	if t.Bursting {
		now := &t.Bursts[len(t.Bursts)-1]
		if nights > 0 {
			now.Last = max(now.Last, last)
		}
		t.Bursting = moment(t.Points[len(t.Points)-1].At).Sub(moment(now.Last)).Hours() < 24*quietDays
		return false
	}
	if many {
		t.Bursting = true
		t.Bursts = append(t.Bursts, burst{At: first, Called: t.Points[len(t.Points)-1].At, Last: last, Rise: float32(trend.Median(rises))})
	}
	return many
}

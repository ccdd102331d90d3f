package drift

import (
	"math"
	"sort"

	"ohmkeep/internal/numeric/trend"
)

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
		if q.At >= from && q.At < to && !q.is(outlier|noValue) {
			p.points = append(p.points, q)
		}
	}
	t.values(&p)
	return p
}

// values returns each night its value and its weight. What the sensors differ by is taken
// off the drop first, so that a night with another current does not look like one with
// another resistance. The weight follows from the night's own error, enlarged by how
// much the series' neighbouring nights really differ.
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
			errors[i] = math.Hypot(errors[i], t.commonError(q)*math.Abs(1-amps[i]/usualAmps))
		}
		errors[i] *= t.noise
		p.w[i] = 1 / (errors[i] * errors[i])
	}
	p.deviation = trend.Median(errors)
}

const (
	// noiseNights is from how many nights at the most a series' noise is learned, and
	// fewestPairs from how many pairs of neighbours at the least: before, no change is
	// called, because it is not known by how much the nights differ when nothing happens.
	noiseNights = 120
	fewestPairs = 8
)

// learnNoise finds how many times as far as their own errors say neighbouring nights of
// the series differ, at least 1, a little more where few nights tell it. Pairs with a
// change between them do not count.
func (t *track) learnNoise() {
	var differ []float64
	var last *point
	for i := max(0, len(t.Points)-noiseNights); i < len(t.Points); i++ {
		q := &t.Points[i]
		if q.is(outlier | noValue) {
			continue
		}
		if last != nil && t.stretchOf(last.At) == t.stretchOf(q.At) {
			differ = append(differ, math.Abs(t.ohms(q)-t.ohms(last))/math.Hypot(float64(q.Error), float64(last.Error)))
		}
		last = q
	}
	t.pairs, t.noise = len(differ), 1
	if n := float64(len(differ)); n > 0 {
		t.noise = max(1, 1.4826*trend.Median(differ)*(1+3/n))
	}
}

// ohms returns a night's resistance, its sensors' difference taken off where it is known.
func (t *track) ohms(q *point) float64 {
	if q.sensors.known {
		return t.Nominal + (float64(q.Drop)-q.sensors.offset)/float64(q.Amps)
	}
	return float64(q.Ohms)
}

// commonError is the standard deviation of what a night's resistance shares with the others
// of the same sensors.
func (t *track) commonError(q *point) float64 {
	if q.sensors.known {
		return math.Abs(q.sensors.deviation / float64(q.Amps))
	}
	return float64(q.CommonError)
}

// difference is what the two sensors of a drop differ by in a night.
type difference struct {
	known             bool
	offset, deviation float64 // V
}

// sharedGain is how far the difference of two sensors may change between a dark run and
// one in the check step, as a part of what all nights have in common: the gains act on
// volts that differ by a few percent only.
const sharedGain = 0.08

const forever = math.MaxInt64

// findDifferences computes what the sensors differ by, for as long as they are the same.
func (t *track) findDifferences() {
	if t.Step == "" {
		return
	}
	from := int64(math.MinInt64)
	for i := 0; i <= len(t.Stretch); i++ {
		to := int64(forever)
		if i < len(t.Stretch) {
			if t.Stretch[i].Cause != replaced {
				continue
			}
			to = t.Stretch[i].At
		}
		first := sort.Search(len(t.Points), func(k int) bool { return t.Points[k].At >= from })
		last := sort.Search(len(t.Points), func(k int) bool { return t.Points[k].At >= to })
		differ(t.Points[first:last])
		from = to
	}
}

// blockNights is of how many nights together the sensors' difference is taken: few
// enough that it follows gains that change with the weather.
const blockNights = 10

// differ computes what the sensors differ by in nights that have the same ones. In one
// night the drop in the check step and in the dark have the same resistance and other
// currents, which gives both. Where it changes, it is interpolated between blocks of nights.
func differ(points []point) {
	var at, offsets, currents, wobbles, common []float64
	for k := range points {
		q := &points[k]
		q.sensors = difference{}
		more := float64(q.Amps - q.DarkAmps)
		if q.is(outlier|noValue) || !(q.Offset == q.Offset) || math.Abs(more) < 0.5*math.Abs(float64(q.Amps)) {
			continue
		}
		at, currents = append(at, q.days()), append(currents, math.Abs(float64(q.Amps)))
		offsets = append(offsets, (float64(q.Offset)*float64(q.Amps)-float64(q.Drop)*float64(q.DarkAmps))/more)
		wobbles = append(wobbles, float64(q.OffsetError)*math.Abs(float64(q.Amps)/more))
		common = append(common, float64(q.CommonError)*math.Abs(float64(q.Amps)))
	}
	n := len(offsets)
	if n < fewestNights {
		return
	}
	days, volts := blocks(at, offsets, defaultThresholds.step/5*trend.Median(currents))
	wobble := math.Hypot(trend.Median(wobbles)/math.Sqrt(float64(min(n, 9))), sharedGain*trend.Median(common))
	for k := range points {
		points[k].sensors = difference{true, between(days, volts, points[k].days()), wobble}
	}
}

// blocks returns what the sensors differ by in blocks of nights, and their middles; one
// block of all nights where the difference does not change by more than chance and by more
// than least, in V.
func blocks(at, offsets []float64, least float64) (days, volts []float64) {
	n := len(offsets)
	var differ []float64
	for i := 1; i < n; i++ {
		differ = append(differ, math.Abs(offsets[i]-offsets[i-1])/math.Sqrt2)
	}
	spread := 1.4826 * trend.Median(differ)
	all, changes := trend.Midmean(offsets), false
	for i := 0; i < n; {
		end := i + blockNights
		if end+blockNights/2 > n {
			end = n
		}
		mean := trend.Midmean(offsets[i:end])
		changes = changes || math.Abs(mean-all) > max(least, changeSigmas*spread/math.Sqrt(float64(end-i)))
		days, volts = append(days, trend.Midmean(at[i:end])), append(volts, mean)
		i = end
	}
	if !changes {
		return days[:1], []float64{all}
	}
	return days, volts
}

// between interpolates a figure that is known at some moments; before the first and
// behind the last it stays.
func between(at, value []float64, x float64) float64 {
	i := sort.SearchFloat64s(at, x)
	switch {
	case i == 0:
		return value[0]
	case i == len(at):
		return value[i-1]
	}
	return value[i-1] + (value[i]-value[i-1])*(x-at[i-1])/(at[i]-at[i-1])
}

// latest returns the nights of the last stretch.
func (t *track) latest() piece { return t.piece(t.Stretch[len(t.Stretch)-1].At, forever) }

// sloped reports whether the last stretch is a ramp.
func (t *track) sloped() bool { return t.Stretch[len(t.Stretch)-1].Sloped }

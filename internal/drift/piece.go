package drift

import (
	"math"
	"sort"

	"ohmkeep/internal/numeric/trend"
)

// piece holds the nights of one stretch as the arrays that a fit needs.
type piece struct {
	points    []*point
	x, y, w   []float64
	deviation float64 // Ω, of a usual night
}

// piece collects the nights between two moments.
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

// values returns the value and the weight of each night. It first subtracts the sensors' difference
// from the drop, so that a change of the current does not look like a change of the resistance. The
// weight follows from the night's own standard deviation, multiplied by the noise of the series.
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
	// noiseNights is the greatest number of nights from which the noise of a series is computed,
	// and fewestPairs the least number of pairs of neighbours. Before, no change is reported,
	// because the usual scatter of the nights is not known.
	noiseNights = 120
	fewestPairs = 8
)

// learnNoise computes the ratio of the scatter between neighbouring nights to their own standard
// deviations, at least 1. It is increased a little where it rests on few nights. Pairs with a
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

// ohms returns the resistance of a night, corrected by the sensors' difference where it is known.
func (t *track) ohms(q *point) float64 {
	if q.sensors.known {
		return t.Nominal + (float64(q.Drop)-q.sensors.offset)/float64(q.Amps)
	}
	return float64(q.Ohms)
}

// commonError is the standard deviation of the error that a night's resistance shares with the
// other nights of the same sensors.
func (t *track) commonError(q *point) float64 {
	if q.sensors.known {
		return math.Abs(q.sensors.deviation / float64(q.Amps))
	}
	return float64(q.CommonError)
}

// difference is the difference between the errors of the two sensors of a drop in a night.
type difference struct {
	known             bool
	offset, deviation float64 // V
}

// sharedGain is the change of the sensors' difference between a dark run and the check step, as a
// part of the common error: the gains act on voltages that differ by only a few percent.
const sharedGain = 0.08

const forever = math.MaxInt64

// findDifferences computes the sensors' difference for each period with the same sensors.
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

// blockNights is the number of nights over which the sensors' difference is averaged. It is small
// enough to follow gains that change with the weather.
const blockNights = 10

// differ computes the sensors' difference in nights with the same sensors. In one night the drops
// in the check step and in the dark have the same resistance and different currents, which
// determines both resistance and difference. Where the difference changes, it is interpolated
// between blocks of nights.
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

// blocks returns the sensors' difference in blocks of nights, and the blocks' middles. It returns
// one block of all nights where the difference changes by no more than chance explains, or by no
// more than least, in V.
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

// between interpolates a figure that is known at some moments. Before the first and after the last
// moment it is constant.
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

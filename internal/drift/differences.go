package drift

import (
	"math"
	"sort"

	"ohmkeep/internal/numeric/trend"
)

// difference is the difference between the errors of the two sensors of a drop in a night.
type difference struct {
	known             bool
	offset, deviation float64 // V
}

// sharedGain is the change of the sensors' difference from a dark run to the check step, as a part of
// the common error. It is small, because the gains act on voltages that differ by a few percent.
const sharedGain = 0.08

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
	days, volts := blocks(at, offsets, defaultThresholds.jump/5*trend.Median(currents))
	wobble := math.Hypot(trend.Median(wobbles)/math.Sqrt(float64(min(n, 9))), sharedGain*trend.Median(common))
	for k := range points {
		points[k].sensors = difference{true, interpolate(days, volts, points[k].days()), wobble}
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

// interpolate returns the linear interpolation, at x, of values at given moments. Before the first and
// after the last moment it is constant.
func interpolate(at, value []float64, x float64) float64 {
	i := sort.SearchFloat64s(at, x)
	switch {
	case i == 0:
		return value[0]
	case i == len(at):
		return value[i-1]
	}
	return value[i-1] + (value[i]-value[i-1])*(x-at[i-1])/(at[i]-at[i-1])
}

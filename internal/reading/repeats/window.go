package repeats

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"ohmkeep/internal/reading"
)

// A reading of a window is an outlier, and stays a single reading, where it differs from the median
// by more than outlierCounts of the display's last digit and outlierSigmas standard deviations. At
// most one reading in perOutlier is an outlier, and at most maxOutliers are. A window of fewer than
// perOutlier readings cannot show an outlier; its readings stay single (common practice, no source).
const (
	outlierCounts = 5
	outlierSigmas = 8
	perOutlier    = 5
	maxOutliers   = 2
)

// window is what was read of one place in one step within some minutes.
type window struct {
	kept     []reading.Reading // in the order of time; once settled only where they are few, or rows are listed
	outliers []reading.Reading
	parts    []*window // it was merged of, the newest first; nil = none
	first    reading.Reading
	last     time.Time
	count    float64 // what the display's last digit stands for, SI

	// Of the readings that are not outliers.
	n           int
	mean        float64
	squares     float64 // sum of the squared differences from the mean
	successive  float64 // sum of the squared differences between neighbours in time
	left, right float64 // the first and the last value
}

// endsBefore reports whether a window is ended by the next reading: behind a gap, or where it
// is as long and holds as many readings as a window should.
func (w *window) endsBefore(next *reading.Reading) bool {
	n := len(w.kept)
	if n == 0 {
		return false
	}
	return n >= maxInWindow || next.Time.Sub(w.kept[n-1].Time) >= Window || n >= MaxSingle && next.Time.Sub(w.kept[0].Time) >= Window
}

// compute works out what the window's readings amount to.
func (w *window) compute() {
	w.last = w.kept[len(w.kept)-1].Time
	kept := w.kept
	if found := w.findOutliers(); len(found) > 0 {
		kept = nil
		for i, x := range w.kept {
			if slices.Contains(found, i) {
				w.outliers = append(w.outliers, x)
			} else {
				kept = append(kept, x)
			}
		}
		w.kept = kept
	}
	w.n, w.first = len(kept), kept[0]
	w.left, w.right = kept[0].Value, kept[w.n-1].Value
	for _, x := range kept {
		w.mean += x.Value / float64(w.n)
	}
	for i, x := range kept {
		w.squares += (x.Value - w.mean) * (x.Value - w.mean)
		if i > 0 {
			w.successive += (x.Value - kept[i-1].Value) * (x.Value - kept[i-1].Value)
		}
	}
}

// findOutliers returns the indexes of the readings that are outliers; nil where there are too many.
func (w *window) findOutliers() (found []int) {
	n := len(w.kept)
	if n < perOutlier {
		return nil
	}
	var values, away []float64
	for _, x := range w.kept {
		values = append(values, x.Value)
	}
	middle := median(values)
	for _, v := range values {
		away = append(away, math.Abs(v-middle))
	}
	// 1.4826 makes the median distance the standard deviation of normal readings.
	limit := math.Max(outlierSigmas*1.4826*median(slices.Clone(away)), outlierCounts*w.count)
	for i, d := range away {
		if d > limit {
			found = append(found, i)
		}
	}
	if len(found) > min(maxOutliers, n/perOutlier) {
		return nil
	}
	return found
}

// median returns the middle of values, or of the two in the middle.
func median(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

// merged is two windows taken together, of which a is the earlier and no merged one.
func merged(a, b *window) window {
	w := *a
	if w.parts = b.parts; w.parts == nil {
		w.parts = []*window{b}
	}
	w.parts = append(w.parts, a)
	w.outliers = slices.Concat(a.outliers, b.outliers)
	w.last, w.n, w.right, w.count = b.last, a.n+b.n, b.right, math.Max(a.count, b.count)
	apart := b.mean - a.mean
	w.mean += apart * float64(b.n) / float64(w.n)
	w.squares += b.squares + apart*apart*float64(a.n)*float64(b.n)/float64(w.n)
	w.successive += b.successive + (b.left-a.right)*(b.left-a.right)
	return w
}

// all returns the readings that are still held, in the order of time.
func (w *window) all() []reading.Reading {
	if w.parts == nil {
		return w.kept
	}
	var list []reading.Reading
	for _, part := range slices.Backward(w.parts) {
		list = append(list, part.kept...)
	}
	return list
}

// variance is that of one reading: at least that of rounding, and of a reading alone
// that of one count.
func (w *window) variance() float64 {
	if w.n < 2 {
		return w.count * w.count
	}
	return math.Max(w.squares/float64(w.n-1), w.count*w.count/12)
}

// independent is how many independent readings the window's are worth. With r the ratio
// of the mean squared difference between neighbours to twice the variance (von Neumann,
// Ann. Math. Stat. 12 (1941) 367; FROM MEMORY), which is 1 where readings are independent
// and 1 − ρ where each is correlated with the next by ρ and so on, the mean's variance is
// (1+ρ)/(1−ρ) = (2−r)/r times that of independent ones. Less is only said where r is
// below 1 by more than two of its standard deviations, 1/√n.
func (w *window) independent() float64 {
	n := float64(w.n)
	if w.squares == 0 {
		return n
	}
	r := w.successive / (2 * w.squares)
	if r > 1-2/math.Sqrt(n) {
		return n
	}
	return math.Max(1, n*r/(2-r))
}

// readings returns what the window amounts to, the newest first: the outliers and the
// mean of the others; or all of them where they are too few for that.
func (w *window) readings() []reading.Reading {
	list, held := slices.Clone(w.outliers), w.all()
	switch whole := len(held) == w.n; {
	case whole && w.n < perOutlier:
		list = append(list, held...)
	case whole:
		x := w.reading()
		for _, each := range held {
			x.Mean.Rows, x.Mean.Values = append(x.Mean.Rows, each.Row), append(x.Mean.Values, each.Value)
		}
		list = append(list, x)
	default:
		list = append(list, w.reading())
	}
	slices.SortStableFunc(list, func(a, b reading.Reading) int { return b.Time.Compare(a.Time) })
	return list
}

// reading is the mean. Its text has as many decimals as the first reading has.
func (w *window) reading() reading.Reading {
	x := w.first
	x.Value = w.mean
	x.Mean = &reading.Mean{Count: w.n, Scatter: math.Sqrt(w.squares / float64(w.n-1)), Independent: w.independent(), First: w.first.Time, Last: w.last}
	per, _ := reading.PerSI(x.Quantity, x.Unit)
	if _, decimals, _ := strings.Cut(x.Text, "."); !strings.ContainsAny(x.Text, "eE") {
		x.Text = strconv.FormatFloat(w.mean*per, 'f', len(decimals), 64)
	} else {
		x.Text = reading.Digits(w.mean * per)
	}
	return x
}

package column

import (
	"encoding/binary"
	"math"
	"math/bits"
)

// Append codes a column and appends it to dst.
func Append(dst []byte, v []int64) []byte {
	if len(v) == 0 {
		return dst
	}
	dst = binary.AppendVarint(dst, v[0])
	if len(v) == 1 {
		return dst
	}
	g := divisor(v)
	dst = binary.AppendUvarint(dst, g)
	if g == 0 {
		return dst
	}
	e := encoder{dst: dst}
	var block [BlockSize]int64
	for rest := v[1:]; len(rest) > 0; {
		n := min(len(rest), BlockSize)
		u := block[:n]
		if g == 1 {
			for i, x := range rest[:n] {
				u[i] = x - v[0]
			}
		} else {
			for i, x := range rest[:n] {
				u[i] = (x - v[0]) / int64(g)
			}
		}
		e.block(u)
		rest = rest[n:]
	}
	return e.dst
}

// divisor returns the greatest common divisor of the differences from the first number; 0 if
// there are none or all are zero, and 1 if one does not fit into an int64.
func divisor(v []int64) (g uint64) {
	lowest, highest := v[0], v[0]
	for _, x := range v {
		lowest, highest = min(lowest, x), max(highest, x)
	}
	if lowest < 0 && highest > math.MaxInt64+lowest {
		return 1
	}
	for _, x := range v {
		d := uint64(max(x-v[0], v[0]-x))
		if g == 1 {
			break
		}
		if g != 0 && d%g == 0 {
			continue
		}
		for d != 0 {
			g, d = d, g%d
		}
	}
	return g
}

type encoder struct {
	dst       []byte
	last      int64 // the number before the block
	slope     int64 // of the last block with predictor Line
	residuals [predictors][BlockSize]uint64

	pending uint64 // bits that do not fill a byte yet, right-aligned
	filled  uint   // number of pending bits
}

// block codes one block with the predictor that costs least.
func (e *encoder) block(u []int64) {
	n := len(u)
	step := (u[n-1] - e.last) / int64(n)
	intercept, slope := e.fit(u)
	m := e.last << 4
	p, at := e.last, intercept<<interceptShift+half
	prev, lin, smo := e.residuals[previous][:n], e.residuals[line][:n], e.residuals[smooth][:n]
	var sums [predictors]uint64
	for i, x := range u {
		at += slope
		prev[i] = zigzag(x - (p + step))
		lin[i] = zigzag(x - (e.last + at>>slopeBits))
		smo[i] = zigzag(x - predicted(m))
		m = smoothed(m, x)
		p = x
		sums[previous] = addSaturating(sums[previous], prev[i])
		sums[line] = addSaturating(sums[line], lin[i])
		sums[smooth] = addSaturating(sums[smooth], smo[i])
	}
	overhead := [predictors]int{
		previous: 8 * varintLen(step),
		line:     8 * (varintLen(intercept) + varintLen(slope-e.slope)),
	}
	best, bestK, bestBits := 0, uint(0), math.MaxInt
	for which, sum := range sums {
		k, cost := parameter(e.residuals[which][:n], sum)
		if cost += overhead[which]; cost < bestBits {
			best, bestK, bestBits = which, k, cost
		}
	}
	e.dst = append(e.dst, byte(best<<6)|byte(bestK))
	switch best {
	case previous:
		e.dst = binary.AppendVarint(e.dst, step)
	case line:
		e.dst = binary.AppendVarint(e.dst, intercept)
		e.dst = binary.AppendVarint(e.dst, slope-e.slope)
		e.slope = slope
	}
	if bestK != allZero {
		e.rice(e.residuals[best][:n], bestK)
	}
	e.last = u[n-1]
}

// fit returns the straight line of least squares through a block, as an intercept
// against the number before it and a slope, both as Line takes them.
func (e *encoder) fit(u []int64) (intercept, slope int64) {
	n := float64(len(u))
	var sy, sxy float64
	for i, x := range u {
		y := float64(x - e.last)
		sy += y
		sxy += y * float64(i+1)
	}
	sx, sxx := n*(n+1)/2, n*(n+1)*(2*n+1)/6
	b := 0.0
	if len(u) > 1 {
		b = (n*sxy - sx*sy) / (n*sxx - sx*sx)
	}
	a := (sy - b*sx) / n
	const most = 1 << 50 // so that no prediction overflows
	a *= 1 << (slopeBits - interceptShift)
	b *= 1 << slopeBits
	if !(math.Abs(a) < most && math.Abs(b) < most) {
		return 0, 0
	}
	return int64(math.Round(a)), int64(math.Round(b))
}

// parameter returns the Rice parameter that suits residuals of a known sum, and
// how many bits they take with it.
func parameter(residuals []uint64, sum uint64) (k uint, cost int) {
	if sum == 0 {
		return allZero, 0
	}
	// For a geometric distribution the best k has 2^k near mean·ln 2.
	mean := float64(sum) / float64(len(residuals))
	guess := max(0, bits.Len64(uint64(mean*math.Ln2))-1)
	cost = math.MaxInt
	for try := uint(guess); try <= uint(min(guess+1, allZero-1)); try++ {
		bits := 0
		for _, r := range residuals {
			q := r >> try
			if q >= maxZeros {
				bits += maxZeros + 1 + 64
			} else {
				bits += int(q) + 1 + int(try)
			}
		}
		if bits < cost {
			k, cost = try, bits
		}
	}
	return k, cost
}

func (e *encoder) rice(residuals []uint64, k uint) {
	for _, r := range residuals {
		q := uint(r >> k)
		if q >= maxZeros {
			e.write(1, maxZeros+1)
			e.write(r>>32, 32)
			e.write(r&math.MaxUint32, 32)
			continue
		}
		if k > 30 {
			e.write(1, q+1)
			e.write(r>>30&(1<<(k-30)-1), k-30)
			e.write(r&(1<<30-1), 30)
			continue
		}
		e.write(1<<k|r&(1<<k-1), q+1+k)
	}
	if e.filled > 0 {
		e.dst = append(e.dst, byte(e.pending<<(8-e.filled)))
		e.pending, e.filled = 0, 0
	}
}

// write adds the low n bits of x; n is at most 56.
func (e *encoder) write(x uint64, n uint) {
	e.pending = e.pending<<n | x
	e.filled += n
	for e.filled >= 8 {
		e.filled -= 8
		e.dst = append(e.dst, byte(e.pending>>e.filled))
	}
}

// addSaturating returns the sum, or the largest uint64 if it overflows.
func addSaturating(a, b uint64) uint64 {
	sum, carry := bits.Add64(a, b, 0)
	if carry != 0 {
		return math.MaxUint64
	}
	return sum
}

func varintLen(x int64) int { return (bits.Len64(zigzag(x)|1) + 6) / 7 }

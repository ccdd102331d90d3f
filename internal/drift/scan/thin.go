package scan

import "math"

// mostScans is the greatest number of scans of one step, or of an unknown step, that a day holds:
// one every ten seconds. Each time there are more, half of them are dropped. So the memory of a day
// does not grow with the rate of readings.
const mostScans = 8192

// thinning is the state of dropping the scans of one step: one of 2^halved consecutive scans is
// kept.
type thinning struct{ met, held, halved int }

// counted numbers the current scan and reports whether it is kept.
func (c *Collector) counted() bool {
	t := &c.thinned[c.current.Step+1]
	c.current.number = t.met
	t.met++
	if !t.keeps(c.current.number) {
		return false
	}
	t.held++
	return true
}

// keeps reports whether a scan is kept. Each halving keeps one of two neighbours, chosen by a
// hash, so that a periodic load is not sampled in phase.
func (t *thinning) keeps(number int) bool {
	for i := range t.halved {
		pair := uint64(number) >> (i + 1)
		if mixed(pair+uint64(i)<<48)&1 != uint64(number)>>i&1 {
			return false
		}
	}
	return true
}

// mixed is the finalizer of SplitMix64 (Steele, Lea and Flood 2014; from memory).
func mixed(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// limit halves the scans of a step where there are too many.
func (c *Collector) limit(step int) {
	t := &c.thinned[step+1]
	if t.held <= mostScans {
		return
	}
	t.halved++
	t.held = 0
	kept := c.Scans[:0]
	for i := range c.Scans {
		s := &c.Scans[i]
		switch {
		case s.Step != step:
			kept = append(kept, *s)
		case t.keeps(s.number):
			t.held++
			kept = append(kept, *s)
		default:
			c.recycle(s)
		}
	}
	c.Scans = kept
}

// recycle makes the memory of a scan available for another one.
func (c *Collector) recycle(s *Scan) { c.free = append(c.free, s.Volts, s.Amps) }

// blank returns n unknown values, in released memory if there is any.
func (c *Collector) blank(n int) []float64 {
	for len(c.free) > 0 {
		last := len(c.free) - 1
		v := c.free[last]
		c.free = c.free[:last]
		if cap(v) < n {
			continue
		}
		v = v[:n]
		for i := range v {
			v[i] = math.NaN()
		}
		return v
	}
	if len(c.spare) < n {
		c.spare = make([]float64, 4096+n)
		for i := range c.spare {
			c.spare[i] = math.NaN()
		}
	}
	v := c.spare[:n:n]
	c.spare = c.spare[n:]
	return v
}

package scan

import "math"

// mostRounds is how many rounds of one step, or of no known one, a day holds: one every
// ten seconds. Where there are more, half of them are let go, and again whenever they
// are as many, so that a day takes the same memory at any rate.
const mostRounds = 8192

// thinning is how far the rounds of one step have been thinned: of 2^halved that follow
// one another one is kept.
type thinning struct{ met, held, halved int }

// counted numbers the round that is open and reports whether it is kept.
func (c *Collector) counted() bool {
	t := &c.thinned[c.open.Step+1]
	c.open.number = t.met
	t.met++
	if !t.keeps(c.open.number) {
		return false
	}
	t.held++
	return true
}

// keeps reports whether a round is kept: in each halving one of two neighbours is, which
// of them by a hash, so that nothing that repeats itself falls in step with it.
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

// limit halves the rounds of a step where there are too many.
func (c *Collector) limit(step int) {
	t := &c.thinned[step+1]
	if t.held <= mostRounds {
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
			c.letGo(s)
		}
	}
	c.Scans = kept
}

// letGo keeps a round's memory for another one.
func (c *Collector) letGo(s *Scan) { c.free = append(c.free, s.Volts, s.Amps) }

// blank returns n unknown values, in memory that was let go where there is some.
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

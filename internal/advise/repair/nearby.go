package repair

import (
	"math"

	"ohmkeep/internal/advise/loadlimit"
)

// nearby returns the highest level that holds in a fitted state near the best one. It first
// brackets the level: from the best state's level it goes up or down, by a little more than in
// proportion to the excess over the limits. Then it narrows the bracket by the secant with the
// retained end's weight halved (Illinois method; Dowell and Jarratt, BIT 11 (1971) 168), and
// interpolates in the last bracket.
func (b *bench) nearby(best *loadlimit.Rating) (float64, error) {
	over := func(level float64) (float64, error) {
		s, err := b.circuit.Solve(level)
		if err != nil {
			return 0, err
		}
		worst := s.Worst()
		return worst.Ratio() - 1, nil
	}
	begin := math.Max(best.Level, 1.0/1024)
	at, err := over(begin)
	if err != nil {
		return 0, err
	}
	low, high, atLow, atHigh := begin, begin, at, at
	step := math.Min(math.Max(2*math.Abs(at), loadlimit.Precision/2), 0.02)
	for ; atLow > 0; step *= 4 {
		if low < 1e-4 {
			return 0, nil
		}
		high, atHigh = low, atLow
		low /= 1 + step
		if atLow, err = over(low); err != nil {
			return 0, err
		}
	}
	for ; atHigh <= 0; step *= 4 {
		if high >= 1 {
			return 1, nil
		}
		low, atLow = high, atHigh
		high = math.Min(1, high*(1+step))
		if atHigh, err = over(high); err != nil {
			return 0, err
		}
	}
	weightLow, weightHigh := atLow, atHigh
	for range 30 {
		if high-low <= loadlimit.Precision*high || atLow > -1e-3 {
			break
		}
		middle := low + (high-low)*math.Min(0.95, math.Max(0.05, -weightLow/(weightHigh-weightLow)))
		now, err := over(middle)
		if err != nil {
			return 0, err
		}
		if now <= 0 {
			low, atLow, weightLow = middle, now, now
			weightHigh /= 2
		} else {
			high, atHigh, weightHigh = middle, now, now
			weightLow /= 2
		}
	}
	return low + (high-low)*math.Min(1, -atLow/(atHigh-atLow)), nil
}

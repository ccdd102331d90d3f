package loadlimit

import (
	"math"

	"ohmkeep/internal/network/limits"
)

// Rating is the highest safe load of a run in one colour.
type Rating struct {
	Mix   Mix
	Level float64 // up to which every limit holds; 0 where one is broken even in the dark
	State State   // at that level
	// Binding is the limit that is broken just above it. Its Subject is "" where the colour holds
	// at full level.
	Binding limits.Utilisation
	// NonMonotonic lists the criteria that do not grow with the level everywhere. Between the levels
	// tried, one of them may be worse.
	NonMonotonic []limits.Criterion
}

// Dark reports whether a limit is broken with every channel dark.
func (r *Rating) Dark() bool { return r.Level == 0 && r.Binding.Subject != "" }

const (
	// Precision is the part of the level by which the search may end below the highest.
	Precision = 0.001
	// octaves is the number of halvings of the full level that are tried first.
	octaves = 7
	// between is the number of intervals into which each octave is divided where a criterion is not
	// monotonic in the level, or where drivers are regulated.
	between = 8
	// faintest is a level below any that a controller can set.
	faintest = 1e-5
)

// HighestLevel returns the level up to which, from dark, every limit holds. It tries dark and each
// octave, then bisects the interval in which the first failure lies. It checks at all levels tried
// that the criteria grow with the level; where one does not, it tries each octave in eight parts.
func (c *Circuit) HighestLevel() (*Rating, error) {
	rating, err := climb(c.Solve, c.fresh)
	if err == nil {
		rating.Mix = c.mix
	}
	return rating, err
}

// trial applies a load.
type trial func(level float64) (*State, error)

// climb is HighestLevel for any trial; closely makes it divide the octaves in any case.
func climb(try trial, closely bool) (*Rating, error) {
	rating, err := try.climb(1)
	if err == nil && (len(rating.NonMonotonic) > 0 || closely) {
		turns := rating.NonMonotonic
		rating, err = try.climb(between + 1)
		if err == nil {
			rating.NonMonotonic = union(turns, rating.NonMonotonic)
		}
	}
	return rating, err
}

// climb tries increasing levels, so many an octave, up to the first that fails.
func (try trial) climb(parts int) (*Rating, error) {
	rating := &Rating{}
	var last State
	low := 0.0
	for n := 0; n <= octaves*parts; n++ {
		level := 0.0
		if n > 0 {
			octave, part := (n-1)/parts, (n-1)%parts
			bottom := math.Ldexp(1, octave-octaves+1)
			level = bottom / 2 * (1 + float64(part+1)/float64(parts))
		}
		s, err := try(level)
		if err != nil {
			return nil, err
		}
		if n > 0 {
			rating.NonMonotonic = union(rating.NonMonotonic, turning(&last, s))
		}
		last = *s
		if !s.Holds() {
			if n == 0 {
				rating.State, rating.Binding = last, last.Worst()
				return rating, nil
			}
			return rating, try.halve(rating, low, level)
		}
		low, rating.State = level, last
	}
	rating.Level = low
	return rating, nil
}

// halve narrows a stretch whose lower end holds and whose upper end does not.
func (try trial) halve(rating *Rating, low, high float64) error {
	for high-low > Precision*high && high > faintest {
		middle := (low + high) / 2
		s, err := try(middle)
		if err != nil {
			return err
		}
		if s.Holds() {
			low = middle
		} else {
			high = middle
		}
	}
	above, err := try(high)
	if err != nil {
		return err
	}
	rating.Binding = above.Worst()
	s, err := try(low)
	if err != nil {
		return err
	}
	rating.Level, rating.State = low, *s
	return nil
}

// turning lists the criteria whose utilisation falls at a higher level by more than the error of the
// solution.
func turning(before, after *State) []limits.Criterion {
	var list []limits.Criterion
	for i := range after.Utilisations {
		if u := after.Utilisations[i].Ratio(); u < before.Utilisations[i].Ratio()-1e-6 && before.Utilisations[i].Ratio() > slack {
			list = append(list, limits.Criterion(i))
		}
	}
	return list
}

// slack is the part of a limit below which a decrease with the level does not matter.
const slack = 0.8

func union(a, b []limits.Criterion) []limits.Criterion {
	var in [limits.Criteria]bool
	for _, list := range [2][]limits.Criterion{a, b} {
		for _, x := range list {
			in[x] = true
		}
	}
	var all []limits.Criterion
	for i, yes := range in {
		if yes {
			all = append(all, limits.Criterion(i))
		}
	}
	return all
}

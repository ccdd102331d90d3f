package run

import (
	"math"
	"slices"
)

// Metres returns the length of the shortest way between two places along strip and feeds, m;
// +Inf where there is none. Joints have no length. A feed without a stated length is not used.
func (r *Run) Metres(from, to Place) float64 {
	shortest := map[Place]float64{from: 0}
	reach := func(from, to Place, metres float64) bool {
		d, reached := shortest[from]
		if !reached {
			return false
		}
		if have, reached := shortest[to]; reached && have <= d+metres {
			return false
		}
		shortest[to] = d + metres
		return true
	}
	either := func(a, b Place, metres float64) bool {
		there := reach(a, b, metres)
		return reach(b, a, metres) || there
	}
	stops := r.stops(from, to)
	for nearer := true; nearer; {
		nearer = false
		for i, pixels := range stops {
			for k := 1; k < len(pixels); k++ {
				a, b := Place{AtReel, i, pixels[k-1]}, Place{AtReel, i, pixels[k]}
				nearer = either(a, b, float64(b.Pixel-a.Pixel)*r.Reels[i].SegmentLength()) || nearer
			}
		}
		for _, j := range r.Joints {
			nearer = either(Place{AtReel, j.From, r.Reels[j.From].Pixels}, Place{AtReel, j.To, 1}, 0) || nearer
		}
		for _, f := range r.Feeds {
			if f.Length > 0 {
				nearer = either(f.From, f.To, f.Length) || nearer
			}
		}
	}
	if d, reached := shortest[to]; reached {
		return d
	}
	return math.Inf(1)
}

// stops lists by reel the pixels at which a way can begin, end or leave the reel, ascending.
func (r *Run) stops(places ...Place) [][]int {
	list := make([][]int, len(r.Reels))
	for i, reel := range r.Reels {
		list[i] = []int{1, reel.Pixels}
	}
	for _, f := range r.Feeds {
		places = append(places, f.To)
	}
	for _, at := range places {
		if at.Kind == AtReel {
			list[at.Index] = append(list[at.Index], at.Pixel)
		}
	}
	for i := range list {
		slices.Sort(list[i])
		list[i] = slices.Compact(list[i])
	}
	return list
}

// Conductor holds the two ends of a feed or a reel and their distance.
type Conductor struct {
	From, To Place
	Metres   float64 // +Inf where the run file states no length
}

// Conductors lists the two ends of every feed and reel. A meter with a long lead can read
// the drop along one conductor between them.
func (r *Run) Conductors() []Conductor {
	var list []Conductor
	for _, f := range r.Feeds {
		list = append(list, Conductor{f.From, f.To, r.Metres(f.From, f.To)})
	}
	for i, reel := range r.Reels {
		if reel.Pixels > 1 {
			start, end := Place{AtReel, i, 1}, Place{AtReel, i, reel.Pixels}
			list = append(list, Conductor{start, end, r.Metres(start, end)})
		}
	}
	return list
}

package repair

import (
	"math"

	"ohmkeep/internal/run"
)

// distances is the distance of every pixel along the strip from the nearest of some places, in metres
// of strip. Joints have no length.
type distances struct {
	metres [][]float64 // by reel and pixel; +Inf where no strip leads
	from   [][]int     // by reel and pixel: index into the places given
}

// measure computes the distances from places on reels. It repeats in both directions until no
// distance gets smaller.
func measure(r *run.Run, places []run.Place) distances {
	m := distances{}
	for _, reel := range r.Reels {
		metres := make([]float64, reel.Pixels)
		for k := range metres {
			metres[k] = math.Inf(1)
		}
		m.metres = append(m.metres, metres)
		m.from = append(m.from, make([]int, reel.Pixels))
	}
	for i, p := range places {
		if p.Kind == run.AtReel {
			m.metres[p.Index][p.Pixel-1] = 0
			m.from[p.Index][p.Pixel-1] = i
		}
	}
	for nearer := true; nearer; {
		nearer = false
		for i, reel := range r.Reels {
			segment := reel.SegmentLength()
			for k := 1; k < reel.Pixels; k++ {
				nearer = m.step(i, k-1, i, k, segment) || nearer
			}
			for k := reel.Pixels - 1; k > 0; k-- {
				nearer = m.step(i, k, i, k-1, segment) || nearer
			}
		}
		for _, j := range r.Joints {
			last := r.Reels[j.From].Pixels - 1
			nearer = m.step(j.From, last, j.To, 0, 0) || nearer
			nearer = m.step(j.To, 0, j.From, last, 0) || nearer
		}
	}
	return m
}

// step updates the distance of a pixel from that of its neighbour, and reports whether it got
// smaller.
func (m distances) step(reel, pixel, toReel, toPixel int, metres float64) bool {
	if by := m.metres[reel][pixel] + metres; by < m.metres[toReel][toPixel]-1e-9 {
		m.metres[toReel][toPixel] = by
		m.from[toReel][toPixel] = m.from[reel][pixel]
		return true
	}
	return false
}

// at returns the distance to a place in metres, and the nearest of the starting places.
func (m distances) at(p run.Place) (metres float64, nearest int) {
	return m.metres[p.Index][p.Pixel-1], m.from[p.Index][p.Pixel-1]
}

// farthest returns the place with the greatest distance.
func (m distances) farthest() (at run.Place, metres float64) {
	metres = -1
	for i, reel := range m.metres {
		for k, d := range reel {
			if d > metres && !math.IsInf(d, 1) {
				at, metres = run.Place{Kind: run.AtReel, Index: i, Pixel: k + 1}, d
			}
		}
	}
	return at, metres
}

// middle returns the place half-way between a far place and the starting place nearest to it. It is
// moved to a joint if one is near, because a joint's pads are easier to reach than copper under a
// cover.
func (m distances) middle(r *run.Run, far run.Place) run.Place {
	back := measure(r, []run.Place{far})
	total, _ := m.at(far)
	best, least := far, math.Inf(1)
	for i, reel := range m.metres {
		for k, d := range reel {
			way := d + back.metres[i][k]
			if way > total+1e-6 {
				continue
			}
			miss := math.Abs(d - total/2)
			if atJoint(r, i, k+1) {
				miss -= nearJoint * total
			}
			if miss < least {
				best, least = run.Place{Kind: run.AtReel, Index: i, Pixel: k + 1}, miss
			}
		}
	}
	return best
}

// nearJoint is the greatest distance of that joint, as a part of the way.
const nearJoint = 0.12

func atJoint(r *run.Run, reel, pixel int) bool {
	for _, j := range r.Joints {
		if j.To == reel && pixel == 1 || j.From == reel && pixel == r.Reels[reel].Pixels {
			return true
		}
	}
	return false
}

// freeEnds are the reel ends where the strip stops and no feed lands.
func freeEnds(r *run.Run) []run.Place {
	var ends []run.Place
	for i, reel := range r.Reels {
		first, last := true, true
		for _, j := range r.Joints {
			first, last = first && j.To != i, last && j.From != i
		}
		for _, f := range r.Feeds {
			if f.To.Kind == run.AtReel && f.To.Index == i {
				first, last = first && f.To.Pixel != 1, last && f.To.Pixel != reel.Pixels
			}
		}
		if first {
			ends = append(ends, run.Place{Kind: run.AtReel, Index: i, Pixel: 1})
		}
		if last && reel.Pixels > 1 {
			ends = append(ends, run.Place{Kind: run.AtReel, Index: i, Pixel: reel.Pixels})
		}
	}
	return ends
}

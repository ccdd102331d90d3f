package chart

import "ohmkeep/internal/run"

// track is where a reel lies in a picture of its run.
type track struct {
	start float64 // m along the run, of its first pixel
	pitch float64 // m from pixel to pixel
	n     int     // pixels
	lane  int     // 0 for the main line; a branch has a lane of its own beside it
}

func (t track) at(pixel int) float64 { return t.start + float64(pixel-1)*t.pitch }
func (t track) end() float64         { return t.at(t.n) }

const mostLanes = 6 // more branches beside each other than this share the last

// placeReels returns the track of every reel. A reel starts where the one that it follows ends; a
// reel that follows none starts after all those before it. Where several reels follow the same one, the
// first goes on in its lane and the others branch off.
func placeReels(r *run.Run) []track {
	tracks := make([]track, len(r.Reels))
	followers := make([][]int, len(r.Reels))
	var roots []int
	for i, reel := range r.Reels {
		pitch := 1 / reel.Strip.PixelsPerMetre
		if !(pitch > 0) || !drawable(pitch) {
			pitch = 1
		}
		tracks[i] = track{pitch: pitch, n: max(1, reel.Pixels)}
		if f := reel.Follows; f >= 0 && f < len(r.Reels) && f != i {
			followers[f] = append(followers[f], i)
		} else {
			roots = append(roots, i)
		}
	}
	placed := make([]bool, len(tracks))
	reach := make([]float64, mostLanes) // end of the last reel in each lane, m
	behind := 0.0
	var place func(i, lane int, start float64)
	place = func(i, lane int, start float64) {
		placed[i] = true
		t := &tracks[i]
		t.start, t.lane = start, lane
		next := t.end() + t.pitch
		reach[lane] = max(reach[lane], next)
		behind = max(behind, next)
		for n, f := range followers[i] {
			if placed[f] {
				continue
			}
			own := lane
			for own = lane; n > 0 && own < mostLanes-1 && reach[own] >= next; {
				own++
			}
			place(f, own, next)
		}
	}
	for _, i := range roots {
		start := behind
		if behind > 0 {
			start += 3 * tracks[i].pitch
		}
		place(i, 0, start)
	}
	for i := range tracks { // in a ring every reel follows another
		if !placed[i] {
			place(i, 0, behind)
		}
	}
	return tracks
}

// stretch is the span of metres that the tracks take.
func stretch(tracks []track) span {
	var e extent
	for _, t := range tracks {
		e.add(t.start, t.end())
	}
	return e.padded(0.01, 0.02, span{0, 1})
}

func lanes(tracks []track) int {
	n := 1
	for _, t := range tracks {
		n = max(n, t.lane+1)
	}
	return n
}

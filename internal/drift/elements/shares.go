package elements

import (
	"fmt"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/network/pixel"
	"ohmkeep/internal/run"
)

// Shares is the distribution of the load of one step over the run as its file states it.
type Shares struct {
	run   *run.Run
	below [][]float64 // by reel: A drawn by its pixels 1…k, k from 0
	Feeds []float64   // A through each feed
	group []int       // by reel: number of the part of the run that is connected by both rails
	rest  []Weights   // by feed: its current as weights of the measured ones; nil = it does not follow from them
}

// NewShares solves a step. measured holds, by feed, whether it has a sensor.
func NewShares(r *run.Run, step run.Step, measured []bool) (*Shares, error) {
	net, err := ladder.New(r)
	if err != nil {
		return nil, err
	}
	par := ladder.Stated(r)
	solver := net.NewSolver()
	if err := solver.Solve(&par, ladder.Loads(r, step, pixel.AsStated)); err != nil {
		return nil, fmt.Errorf("step %q: %w", step.Name, err)
	}
	s := &Shares{run: r, group: groups(r)}
	for i, reel := range r.Reels {
		amps := make([]float64, reel.Pixels)
		solver.Reel(i, nil, nil, amps)
		below := make([]float64, reel.Pixels+1)
		for k, a := range amps {
			below[k+1] = below[k] + a
		}
		s.below = append(s.below, below)
	}
	for i := range r.Feeds {
		s.Feeds = append(s.Feeds, solver.FeedAmps(i, run.Plus))
	}
	s.measure(measured)
	return s, nil
}

// groups numbers the parts of a run that are connected by both rails.
func groups(r *run.Run) []int {
	g := make([]int, len(r.Reels))
	for i := range g {
		g[i] = i
	}
	for again := true; again; {
		again = false
		for _, j := range r.Joints {
			if !j.PlusCut && g[j.From] != g[j.To] {
				low := min(g[j.From], g[j.To])
				g[j.From], g[j.To], again = low, low, true
			}
		}
	}
	return g
}

// measure expresses each feed's current by the measured ones: its own sensor, the
// sum of what leaves its junction, or its nominal share of what is measured in the
// same part of the run.
func (s *Shares) measure(measured []bool) {
	r := s.run
	n := len(r.Feeds)
	s.rest = make([]Weights, n)
	for i := range n {
		if measured[i] {
			s.rest[i] = make(Weights, n)
			s.rest[i][i] = 1
		}
	}
	for i, f := range r.Feeds {
		if s.rest[i] != nil || f.To.Kind != run.AtReel {
			continue
		}
		total, w := 0.0, make(Weights, n)
		for k, o := range r.Feeds {
			if measured[k] && o.To.Kind == run.AtReel && s.group[o.To.Index] == s.group[f.To.Index] {
				total += s.Feeds[k]
				w[k] = 1
			}
		}
		if total > 0 {
			for k := range w {
				w[k] *= s.Feeds[i] / total
			}
			s.rest[i] = w
		}
	}
	for range n { // junction behind junction
		for i, f := range r.Feeds {
			if s.rest[i] != nil || f.To.Kind != run.AtJunction {
				continue
			}
			w, all, into := make(Weights, n), true, 0
			for k, o := range r.Feeds {
				if o.From == f.To {
					if all = all && s.rest[k] != nil; all {
						w.add(1, s.rest[k])
					}
				}
				if o.To == f.To {
					into++
				}
			}
			if all && into == 1 {
				s.rest[i] = w
			}
		}
	}
}

// beyond returns the load and the feeds of the part of the run beyond pixel k of a reel, towards
// its end.
func (s *Shares) beyond(reel, k int, visit func(feed int)) (load float64) {
	r := s.run
	load = s.below[reel][r.Reels[reel].Pixels] - s.below[reel][k]
	for i, f := range r.Feeds {
		if f.To.Kind == run.AtReel && f.To.Index == reel && f.To.Pixel > k {
			visit(i)
		}
	}
	for _, j := range r.Joints {
		if j.From == reel && !j.PlusCut {
			load += s.beyond(j.To, 0, visit)
		}
	}
	return load
}

// current returns the current after pixel k of a reel, towards its end: the load beyond it less the
// feed currents beyond it. k may be the reel's last pixel only where one joint follows; use 0 of
// the next reel for it.
func (s *Shares) current(reel, k int) (Weights, bool) {
	w := make(Weights, len(s.run.Feeds))
	known := true
	inside := 0.0
	load := s.beyond(reel, k, func(feed int) {
		if s.rest[feed] == nil {
			known = false
			return
		}
		w.add(-1, s.rest[feed])
	})
	total := 0.0
	for i, g := range s.group {
		if g == s.group[reel] {
			total += s.below[i][len(s.below[i])-1]
		}
	}
	if total > 0 {
		inside = load / total
	}
	for i, f := range s.run.Feeds {
		if f.To.Kind == run.AtReel && s.group[f.To.Index] == s.group[reel] {
			if s.rest[i] == nil {
				known = false
				continue
			}
			w.add(inside, s.rest[i])
		}
	}
	return w, known
}

// Total is the current of all pixels, A.
func (s *Shares) Total() (amps float64) {
	for _, below := range s.below {
		amps += below[len(below)-1]
	}
	return amps
}

// Ring reports whether more than one feed ends in an element's part of the run.
func (s *Shares) Ring(e *Element) bool {
	reel := -1
	for _, p := range []run.Place{e.From, e.To} {
		if p.Kind == run.AtReel {
			reel = p.Index
		}
	}
	n := 0
	for _, f := range s.run.Feeds {
		if reel >= 0 && f.To.Kind == run.AtReel && s.group[f.To.Index] == s.group[reel] {
			n++
		}
	}
	return n > 1
}

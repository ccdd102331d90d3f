package series

import (
	"fmt"

	"ohmkeep/internal/ladder"
	"ohmkeep/internal/pixel"
	"ohmkeep/internal/run"
)

// shares is how the load of one step is spread over the run as its file states it.
type shares struct {
	run   *run.Run
	below [][]float64 // by reel: A drawn by its pixels 1…k, k from 0
	feeds []float64   // A through each feed
	group []int       // by reel: which reels hang together by pairs
	rest  []weights   // by feed: its current from the measured ones; nil = not to be had
}

// newShares solves a step. measured tells which feeds have a sensor.
func newShares(r *run.Run, step run.Step, measured []bool) (*shares, error) {
	net, err := ladder.New(r)
	if err != nil {
		return nil, err
	}
	par := ladder.Stated(r)
	solver := net.NewSolver()
	if err := solver.Solve(&par, ladder.Loads(r, step, pixel.AsStated)); err != nil {
		return nil, fmt.Errorf("step %q: %w", step.Name, err)
	}
	s := &shares{run: r, group: groups(r)}
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
		s.feeds = append(s.feeds, solver.FeedAmps(i, run.Plus))
	}
	s.measure(measured)
	return s, nil
}

// groups numbers the parts of a run that are joined by both rails.
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
func (s *shares) measure(measured []bool) {
	r := s.run
	n := len(r.Feeds)
	s.rest = make([]weights, n)
	for i := range n {
		if measured[i] {
			s.rest[i] = make(weights, n)
			s.rest[i][i] = 1
		}
	}
	for i, f := range r.Feeds {
		if s.rest[i] != nil || f.To.Kind != run.AtReel {
			continue
		}
		total, w := 0.0, make(weights, n)
		for k, o := range r.Feeds {
			if measured[k] && o.To.Kind == run.AtReel && s.group[o.To.Index] == s.group[f.To.Index] {
				total += s.feeds[k]
				w[k] = 1
			}
		}
		if total > 0 {
			for k := range w {
				w[k] *= s.feeds[i] / total
			}
			s.rest[i] = w
		}
	}
	for range n { // junction behind junction
		for i, f := range r.Feeds {
			if s.rest[i] != nil || f.To.Kind != run.AtJunction {
				continue
			}
			w, all, into := make(weights, n), true, 0
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

// beyond gives the load and the feeds of the part of the run that lies behind pixel k
// of a reel, towards its end.
func (s *shares) beyond(reel, k int, visit func(feed int)) (load float64) {
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

// current gives the current behind pixel k of a reel, towards its end: what the load
// beyond takes less what the feeds beyond give. k may be the reel's last pixel only
// where one joint follows; use 0 of the next reel for it.
func (s *shares) current(reel, k int) (weights, bool) {
	w := make(weights, len(s.run.Feeds))
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

// weigh finds what an element's drop is made of in a step.
func (s *shares) weigh(e *Element) makeup {
	n := len(s.run.Feeds)
	m := makeup{make(weights, n), make(weights, n), make(weights, n), make(weights, n), true}
	for _, x := range e.edges {
		switch {
		case x.feed >= 0:
			f := s.run.Feeds[x.feed]
			w := s.rest[x.feed]
			if w == nil {
				m.known = false
				continue
			}
			way := 1.0
			if x.a != f.From {
				way = -1
			}
			wire := ladder.FeedWire(f)
			m.copper.add(way*wire, w)
			m.warming.add(way*wire*f.TempCo, w)
			m.contact.add(way*(f.Ohms-wire), w)
		case x.joint >= 0:
			j := s.run.Joints[x.joint]
			w, known := s.current(j.To, 0)
			m.known = m.known && known
			way := 1.0
			if x.a.Index != j.From {
				way = -1
			}
			m.contact.add(way*j.Ohms, w)
			m.through.add(way/float64(e.joints), w)
		default:
			way, low, high := 1.0, x.a.Pixel, x.b.Pixel
			if low > high {
				way, low, high = -1, high, low
			}
			ohms := perMetre(s.run.Reels[x.reel]) * s.run.Reels[x.reel].SegmentLength()
			for k := low; k < high; k++ {
				w, known := s.current(x.reel, k)
				m.known = m.known && known
				m.copper.add(way*ohms, w)
				m.warming.add(way*ohms*ladder.CopperTempCo, w)
			}
		}
	}
	if e.joints == 0 && e.Nominal > 0 {
		m.through.add(1/e.Nominal, m.copper)
		m.through.add(1/e.Nominal, m.contact)
	}
	return m
}

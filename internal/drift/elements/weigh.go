package elements

import (
	"ohmkeep/internal/network/ladder"
)

// Weigh returns the composition of an element's drop in a step.
func (s *Shares) Weigh(e *Element) Composition {
	n := len(s.run.Feeds)
	m := Composition{make(Weights, n), make(Weights, n), make(Weights, n), make(Weights, n), true}
	for _, x := range e.Edges {
		switch {
		case x.feed >= 0:
			f := s.run.Feeds[x.feed]
			w := s.rest[x.feed]
			if w == nil {
				m.Known = false
				continue
			}
			way := 1.0
			if x.a != f.From {
				way = -1
			}
			wire := ladder.FeedWire(f)
			m.Copper.add(way*wire, w)
			m.Warming.add(way*wire*f.TempCo, w)
			m.Contact.add(way*(f.Ohms-wire), w)
		case x.joint >= 0:
			j := s.run.Joints[x.joint]
			w, known := s.current(j.To, 0)
			m.Known = m.Known && known
			way := 1.0
			if x.a.Index != j.From {
				way = -1
			}
			m.Contact.add(way*j.Ohms, w)
			m.Through.add(way/float64(e.Joints), w)
		default:
			way, low, high := 1.0, x.a.Pixel, x.b.Pixel
			if low > high {
				way, low, high = -1, high, low
			}
			ohms := perMetre(s.run.Reels[x.reel]) * s.run.Reels[x.reel].SegmentLength()
			for k := low; k < high; k++ {
				w, known := s.current(x.reel, k)
				m.Known = m.Known && known
				m.Copper.add(way*ohms, w)
				m.Warming.add(way*ohms*ladder.CopperTempCo, w)
			}
		}
	}
	if e.Joints == 0 && e.Nominal > 0 {
		m.Through.add(1/e.Nominal, m.Copper)
		m.Through.add(1/e.Nominal, m.Contact)
	}
	return m
}

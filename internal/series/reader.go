package series

import (
	"math"
	"slices"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Sensed is what was read in the last weeks: the day, since 1970, on which each
// place and each feed's current was read last, by name.
type Sensed struct {
	Places map[string]int64 `json:"places"`
	Feeds  map[string]int64 `json:"feeds"`
}

// forgotten is after how many days a place that is no longer read stops parting
// what lies on its two sides.
const forgotten = 60

// Reader makes nights of a run's readings, a day at a time. It remembers only what
// it can work out again.
type Reader struct {
	run      *run.Run
	places   []run.Place
	measured []bool
	elements []Element
	usual    int         // the step whose shares stand for animations
	stated   [][]float64 // by step and feed: A as the run file has it
	idle     float64     // A of all measured feeds where all is dark
}

// NewReader is for the readings of one run.
func NewReader(r *run.Run) *Reader { return &Reader{run: r} }

// Day gives the nights of a day's readings, which are in the order of time, and notes
// in sensed what was read. The errors are those of solving the run's network.
func (d *Reader) Day(day int64, readings []reading.Reading, sensed *Sensed) ([]Night, error) {
	c := newCollector(d.run, d.known(sensed, day))
	for i := range readings {
		c.add(&readings[i])
	}
	c.finish()
	d.note(c, sensed, day)
	measured := make([]bool, len(d.run.Feeds))
	for name, last := range sensed.Feeds {
		if i := d.run.FeedIndex(name); i >= 0 && day-last <= forgotten {
			measured[i] = true
		}
	}
	if !slices.Equal(c.places, d.places) || !slices.Equal(measured, d.measured) || d.elements == nil {
		if err := d.lay(c.places, measured); err != nil {
			return nil, err
		}
	}
	return d.nights(day, c), nil
}

// known gives the places of the last weeks in a fixed order.
func (d *Reader) known(sensed *Sensed, day int64) []run.Place {
	var places []run.Place
	for name, last := range sensed.Places {
		if p, err := d.run.Place(name); err == nil && day-last <= forgotten {
			places = append(places, p)
		}
	}
	slices.SortFunc(places, order)
	return places
}

// note marks what a day's rounds hold.
func (d *Reader) note(c *collector, sensed *Sensed, day int64) {
	if sensed.Places == nil {
		sensed.Places, sensed.Feeds = map[string]int64{}, map[string]int64{}
	}
	for _, s := range c.scans {
		for i, v := range s.volts {
			if v == v {
				sensed.Places[d.run.PlaceName(c.places[i])] = day
			}
		}
		for i, a := range s.amps {
			if a == a {
				sensed.Feeds[d.run.Feeds[i].Name] = day
			}
		}
	}
}

// lay works out the elements between sensed places and what their drops are made of.
func (d *Reader) lay(places []run.Place, measured []bool) error {
	d.places, d.measured = slices.Clone(places), slices.Clone(measured)
	sorted := slices.Clone(places)
	slices.SortFunc(sorted, order)
	d.elements = newGraph(d.run, sorted).elements(sorted)
	if d.elements == nil {
		d.elements = []Element{}
	}
	dark, err := newShares(d.run, run.Step{}, measured)
	if err != nil {
		return err
	}
	d.idle = 0
	for f, is := range measured {
		if is {
			d.idle += math.Abs(dark.feeds[f])
		}
	}
	for i := range d.elements {
		d.elements[i].dark = dark.weigh(&d.elements[i])
		d.elements[i].Ring = d.ring(&d.elements[i], dark.group)
	}
	brightest := 0.0
	d.stated = nil
	for k, step := range d.run.Steps {
		s, err := newShares(d.run, step, measured)
		if err != nil {
			return err
		}
		d.stated = append(d.stated, s.feeds)
		total := 0.0
		for _, below := range s.below {
			total += below[len(below)-1]
		}
		if total > brightest {
			brightest, d.usual = total, k
		}
		for i := range d.elements {
			d.elements[i].steps = append(d.elements[i].steps, s.weigh(&d.elements[i]))
		}
		if k == d.run.Limits.DesignStep {
			for i := range d.elements {
				if f := d.elements[i].feed; f >= 0 {
					d.elements[i].Limit = d.run.FeedLimit(f, s.feeds[f])
				}
			}
		}
	}
	for i := range d.elements {
		if e := &d.elements[i]; e.feed >= 0 && e.Limit != e.Limit {
			e.Limit = d.run.FeedLimit(e.feed, 0)
		}
	}
	return nil
}

// slot gives the index of a sensed place.
func (d *Reader) slot(p run.Place) int { return slices.Index(d.places, p) }

// ring tells whether more than one feed ends in an element's part of the run.
func (d *Reader) ring(e *Element, group []int) bool {
	reel := -1
	for _, p := range []run.Place{e.From, e.To} {
		if p.Kind == run.AtReel {
			reel = p.Index
		}
	}
	n := 0
	for _, f := range d.run.Feeds {
		if reel >= 0 && f.To.Kind == run.AtReel && group[f.To.Index] == group[reel] {
			n++
		}
	}
	return n > 1
}

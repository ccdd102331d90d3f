package nightly

import (
	"math"
	"slices"

	"ohmkeep/internal/drift/elements"
	"ohmkeep/internal/drift/scan"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Sensed holds the day, since 1970, on which each place and each feed's current was last read, by
// name.
type Sensed struct {
	Places map[string]int64 `json:"places"`
	Feeds  map[string]int64 `json:"feeds"`
}

// maxUnreadDays is the number of days after which a place without readings no longer divides the run
// into elements.
const maxUnreadDays = 60

// Reader evaluates a run's readings, a day at a time. What it keeps between days can be computed
// again.
type Reader struct {
	run      *run.Run
	places   []run.Place
	measured []bool
	elements []elements.Element
	usual    int         // the brightest step, whose distribution of the load is used for animations
	stated   [][]float64 // by step and feed: A as the run file states
	idle     float64     // A of all measured feeds with all pixels dark

	scans *scan.Collector // of the day that is read; nil between days
}

// NewReader returns a Reader of one run.
func NewReader(r *run.Run) *Reader { return &Reader{run: r} }

// Add takes one reading of a day, in the order of time. The first reading begins the day. The
// memory of a day does not depend on the number of readings.
func (d *Reader) Add(day int64, x *reading.Reading, sensed *Sensed) {
	if d.scans == nil {
		d.scans = scan.NewCollector(d.run, sensed.known(d.run, day))
	}
	d.scans.Add(x)
}

// Day ends a day and returns its nights. It records in sensed what was read. The errors are those
// of solving the run's network.
func (d *Reader) Day(day int64, sensed *Sensed) ([]Night, error) {
	c := d.scans
	if d.scans = nil; c == nil {
		return nil, nil
	}
	c.Finish()
	d.note(c, sensed, day)
	measured := make([]bool, len(d.run.Feeds))
	for i, f := range d.run.Feeds {
		measured[i] = sensed.Current(f.Name, day)
	}
	if !slices.Equal(c.Places, d.places) || !slices.Equal(measured, d.measured) || d.elements == nil {
		if err := d.findElements(c.Places, measured); err != nil {
			return nil, err
		}
	}
	return d.nights(day, c), nil
}

// Elements returns the elements between the places that were read in the weeks before a day,
// including those that could not be followed.
func (s *Sensed) Elements(r *run.Run, day int64) []elements.Element {
	return elements.Elements(r, s.known(r, day))
}

// Current reports whether a feed's current was read in the weeks before a day.
func (s *Sensed) Current(feed string, day int64) bool {
	last, ever := s.Feeds[feed]
	return ever && day-last <= maxUnreadDays
}

// known returns the places of the last weeks in a fixed order.
func (s *Sensed) known(r *run.Run, day int64) []run.Place {
	var places []run.Place
	for name, last := range s.Places {
		if p, err := r.Place(name); err == nil && day-last <= maxUnreadDays {
			places = append(places, p)
		}
	}
	slices.SortFunc(places, elements.Order)
	return places
}

// note records the places and currents read on a day.
func (d *Reader) note(c *scan.Collector, sensed *Sensed, day int64) {
	if sensed.Places == nil {
		sensed.Places, sensed.Feeds = map[string]int64{}, map[string]int64{}
	}
	for i, read := range c.ReadPlaces {
		if read {
			sensed.Places[d.run.PlaceName(c.Places[i])] = day
		}
	}
	for i, read := range c.ReadFeeds {
		if read {
			sensed.Feeds[d.run.Feeds[i].Name] = day
		}
	}
}

// findElements sets the elements between sensed places and, by step, the weights of the feed
// currents in their drops.
func (d *Reader) findElements(places []run.Place, measured []bool) error {
	d.places, d.measured = slices.Clone(places), slices.Clone(measured)
	sorted := slices.Clone(places)
	slices.SortFunc(sorted, elements.Order)
	d.elements = elements.Elements(d.run, sorted)
	if d.elements == nil {
		d.elements = []elements.Element{}
	}
	dark, err := elements.NewShares(d.run, run.Step{}, measured)
	if err != nil {
		return err
	}
	d.idle = 0
	for f, is := range measured {
		if is {
			d.idle += math.Abs(dark.Feeds[f])
		}
	}
	for i := range d.elements {
		d.elements[i].Dark = dark.Weigh(&d.elements[i])
		d.elements[i].Ring = dark.Ring(&d.elements[i])
	}
	brightest := 0.0
	d.stated = nil
	for k, step := range d.run.Steps {
		s, err := elements.NewShares(d.run, step, measured)
		if err != nil {
			return err
		}
		d.stated = append(d.stated, s.Feeds)
		total := s.Total()
		if total > brightest {
			brightest, d.usual = total, k
		}
		for i := range d.elements {
			d.elements[i].Steps = append(d.elements[i].Steps, s.Weigh(&d.elements[i]))
		}
		if k == d.run.Limits.DesignStep {
			for i := range d.elements {
				if f := d.elements[i].Feed; f >= 0 {
					d.elements[i].Limit = d.run.FeedLimit(f, s.Feeds[f])
				}
			}
		}
	}
	for i := range d.elements {
		if e := &d.elements[i]; e.Feed >= 0 && e.Limit != e.Limit {
			e.Limit = d.run.FeedLimit(e.Feed, 0)
		}
	}
	return nil
}

// slot returns the index of a sensed place.
func (d *Reader) slot(p run.Place) int { return slices.Index(d.places, p) }

// Package repeats combines repeated readings of one place in one step into their mean, with their
// number and standard deviation (reading.Mean). A fit therefore handles a night of a watch's
// readings, or a table of thousands of rows, like a few readings taken by hand.
//
// Up to MaxSingle readings of a place in a step are left unchanged. Of more readings:
//   - those more than Horizon older than the newest are left out, because the run may have
//     changed since;
//   - readings within Window are combined, and consecutive windows without a gap between them
//     if they agree;
//   - if the value changes within a series without a gap, its longest steady part counts, or the
//     newest of several of about that length;
//   - outliers stay single readings, so that a fit can report them as wrong;
//   - of the results the newest MaxSingle count.
package repeats

import (
	"slices"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// What belongs together (common practice, no source).
const (
	MaxSingle   = 8               // readings of a place in a step that are left as they are, and the most that are made of many
	Window      = 5 * time.Minute // readings within it are taken together; a pause as long is a gap
	Horizon     = 12 * time.Hour  // how much older than the newest a reading of the same place and step may be
	maxInWindow = 256             // readings that a window holds at most
)

// Gatherer takes the readings of a run in the order of time. It holds a few numbers for
// each place, step and five minutes of the Horizon, however many readings there are.
type Gatherer struct {
	run      *run.Run
	listRows bool
	places   map[place]*series
	order    []*series
	next     int // the place in order that a reading is expected of
}

// place is what readings that repeat each other have in common.
type place struct {
	quantity                    run.Quantity
	step, from, to, unit, meter string
	digit                       float64 // see lastDigit
}

// New returns a gatherer of a run's readings. With listRows each mean lists the
// rows that it is of, for readings that all fit into memory.
func New(r *run.Run, listRows bool) *Gatherer {
	return &Gatherer{run: r, listRows: listRows, places: map[place]*series{}}
}

// Add takes the next reading; none may be older than the one before.
func (g *Gatherer) Add(x reading.Reading) {
	p := place{x.Quantity, x.Step, x.From, x.To, x.Unit, x.Meter, g.lastDigit(&x)}
	s := g.expected(p)
	if s == nil {
		if s = g.places[p]; s == nil {
			s = &series{place: p, at: len(g.order), listRows: g.listRows, known: x.Step != "" || len(g.run.Steps) == 1}
			g.places[p] = s
			g.order = append(g.order, s)
		}
	}
	g.next = s.at + 1
	s.add(x, g.count(&x))
}

// expected returns the series of the place whose turn it is when places are read one
// after the other, if it is that one; otherwise nil.
func (g *Gatherer) expected(p place) *series {
	if g.next >= len(g.order) {
		g.next = 0
	}
	if len(g.order) > 0 && g.order[g.next].place == p {
		return g.order[g.next]
	}
	return nil
}

// count returns the value of the last digit of a reading's display, SI.
func (g *Gatherer) count(x *reading.Reading) float64 {
	if m := g.run.MeterIndex(x.Meter); m >= 0 {
		if at := g.run.Meters[m].ShownRange(x.Quantity, x.Value, x.LastDigit()); at >= 0 {
			return g.run.Meters[m].Ranges[at].Resolution
		}
	}
	return 0
}

// lastDigit returns the unit of the last digit, SI, of a reading whose meter shows its range by it; otherwise 0.
// Readings of different ranges have different errors, and no mean.
func (g *Gatherer) lastDigit(x *reading.Reading) float64 {
	if m := g.run.MeterIndex(x.Meter); m >= 0 && g.run.Meters[m].DigitsShowRange {
		return x.LastDigit()
	}
	return 0
}

// Readings returns what the readings so far amount to, in the order of their rows, and how
// many were left out because newer ones of the same place and step count.
func (g *Gatherer) Readings() (list []reading.Reading, older int) {
	for _, s := range g.order {
		few := s.readings()
		taken := 0
		for i := range few {
			taken++
			if few[i].Mean != nil {
				taken += few[i].Mean.Count - 1
			}
		}
		list, older = append(list, few...), older+s.total-taken
	}
	slices.SortStableFunc(list, func(a, b reading.Reading) int { return a.Row - b.Row })
	return list, older
}

// Of gathers given readings, in any order.
func Of(r *run.Run, readings []reading.Reading) (list []reading.Reading, older int) {
	g := New(r, true)
	for _, x := range reading.ByTime(readings) {
		g.Add(x)
	}
	return g.Readings()
}

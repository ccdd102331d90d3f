// Package survey takes the readings of a commissioning: in each load step of a run it reads the
// fixed probes and the visits of a portable meter. The caller, a person or a simulation, sets the
// step, moves the leads and receives each reading.
package survey

import "ohmkeep/internal/run"

// Visit is one reading to take: a voltage between two points, a feed's current, or
// a temperature.
type Visit struct {
	Quantity run.Quantity
	From, To string // as in a reading
}

// Pair returns the visit that reads plus against minus at a place.
func Pair(r *run.Run, at run.Place) Visit {
	name := r.PlaceName(at)
	return Visit{run.Voltage, name + run.Plus.Sign(), name + run.Minus.Sign()}
}

// Thorough lists visits that are enough to judge every joint and feed: the supplies, the junctions,
// both ends of each reel, the end of each feed, the current of each feed, and both conductors over
// each joint. The last show in which rail a fault is, and are read in the meter's finest range,
// while a pair voltage of 12 V is read to 10 mV only. With a long lead (lead_metres of a portable
// meter) it also lists both conductors of each feed and reel within its reach. The visits are in
// the order of the run, so that the operator walks along it once.
func Thorough(r *run.Run) []Visit {
	var visits []Visit
	seen := map[Visit]bool{}
	add := func(v Visit) {
		if !seen[v] {
			seen[v] = true
			visits = append(visits, v)
		}
	}
	lead := 0.0
	for _, m := range r.Meters {
		if !m.Each {
			lead = max(lead, m.Lead)
		}
	}
	along := func(from, to run.Place) {
		if lead > 0 && from != to && r.Metres(from, to) <= lead {
			for _, rail := range []run.Rail{run.Plus, run.Minus} {
				add(Visit{run.Voltage, r.PlaceName(from) + rail.Sign(), r.PlaceName(to) + rail.Sign()})
			}
		}
	}
	for i := range r.Supplies {
		add(Pair(r, run.Place{Kind: run.AtSupply, Index: i}))
	}
	for _, f := range r.Feeds {
		add(Visit{Quantity: run.Current, From: f.Name})
	}
	for i := range r.Junctions {
		at := run.Place{Kind: run.AtJunction, Index: i}
		add(Pair(r, at))
		for _, f := range r.Feeds {
			if f.To == at {
				along(f.From, at)
			}
		}
	}
	for i, reel := range r.Reels {
		add(Pair(r, run.Place{Kind: run.AtReel, Index: i, Pixel: 1}))
		for _, f := range r.Feeds {
			if f.To.Kind == run.AtReel && f.To.Index == i {
				add(Pair(r, f.To))
			}
		}
		for _, f := range r.Feeds {
			if f.To.Kind == run.AtReel && f.To.Index == i {
				along(f.From, f.To)
			}
		}
		end := run.Place{Kind: run.AtReel, Index: i, Pixel: reel.Pixels}
		add(Pair(r, end))
		along(run.Place{Kind: run.AtReel, Index: i, Pixel: 1}, end)
		for _, j := range r.Joints {
			if j.From == i {
				before, after := r.PlaceName(end), r.PlaceName(run.Place{Kind: run.AtReel, Index: j.To, Pixel: 1})
				if !j.PlusCut {
					add(Visit{run.Voltage, before + run.Plus.Sign(), after + run.Plus.Sign()})
				}
				add(Visit{run.Voltage, after + run.Minus.Sign(), before + run.Minus.Sign()})
			}
		}
	}
	return visits
}

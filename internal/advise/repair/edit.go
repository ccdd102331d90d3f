package repair

import (
	"slices"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/run"
)

// edit is a change of a run. The fields that are not set change nothing.
type edit struct {
	joints  []int            // remade
	rewired map[int]run.Feed // by feed: the new feed in its place
	laid    []run.Feed       // new
	trimmed map[int]float64  // by supply: V without load
	added   *run.Supply      // new supply; the last feed of laid begins at it
	parted  int              // joint whose plus is cut, if added is set
}

// remadeOhms is the loop resistance of a joint that was remade with care, Ω. It is the default of a
// run file (common practice, no source).
const remadeOhms = 0.003

// run returns the changed run.
func (e *edit) run(of *run.Run) *run.Run {
	r := *of
	r.Joints, r.Feeds, r.Supplies = slices.Clone(r.Joints), slices.Clone(r.Feeds), slices.Clone(r.Supplies)
	for _, i := range e.joints {
		r.Joints[i].Ohms = remadeOhms
	}
	for i, f := range e.rewired {
		r.Feeds[i] = f
	}
	for i, v := range e.trimmed {
		r.Supplies[i].Volts = v
	}
	laid := slices.Clone(e.laid)
	if e.added != nil {
		laid[len(laid)-1].From = run.Place{Kind: run.AtSupply, Index: len(r.Supplies)}
		r.Supplies = append(r.Supplies, *e.added)
		r.Joints[e.parted].PlusCut = true
	}
	r.Feeds = append(r.Feeds, laid...)
	return &r
}

// parameters returns the parameters of the changed run, from those of a fitted state of the run as
// wired; changed is the result of run.
func (e *edit) parameters(p ladder.Parameters, of, changed *run.Run) ladder.Parameters {
	stated := ladder.Stated(changed)
	p.Joints, p.Feeds, p.Supplies = slices.Clone(p.Joints), slices.Clone(p.Feeds), slices.Clone(p.Supplies)
	for _, i := range e.joints {
		p.Joints[i].Minus = min(p.Joints[i].Minus, remadeOhms/2)
		if !changed.Joints[i].PlusCut {
			p.Joints[i].Plus = min(p.Joints[i].Plus, remadeOhms/2)
		}
	}
	for i := range e.rewired {
		p.Feeds[i] = stated.Feeds[i]
	}
	for i := range e.trimmed {
		// Trimming adds a difference; the error of the file's value remains.
		p.Supplies[i].Volts += changed.Supplies[i].Volts - of.Supplies[i].Volts
	}
	if e.added != nil {
		p.Joints[e.parted].Plus = stated.Joints[e.parted].Plus
	}
	p.Feeds = append(p.Feeds, stated.Feeds[len(p.Feeds):]...)
	p.Supplies = append(p.Supplies, stated.Supplies[len(p.Supplies):]...)
	return p
}

// with returns both edits together. Where both change the same, the second applies.
func (e edit) with(f edit) edit {
	both := edit{joints: append(slices.Clone(e.joints), f.joints...), laid: append(slices.Clone(e.laid), f.laid...),
		rewired: map[int]run.Feed{}, trimmed: map[int]float64{}, added: e.added, parted: e.parted}
	for _, x := range [2]edit{e, f} {
		for i, feed := range x.rewired {
			both.rewired[i] = feed
		}
		for i, v := range x.trimmed {
			both.trimmed[i] = v
		}
	}
	if f.added != nil {
		both.added, both.parted = f.added, f.parted
	} else if e.added != nil { // its feed is the last one
		n := len(e.laid) - 1
		both.laid = append(append(slices.Clone(e.laid[:n]), f.laid...), e.laid[n])
	}
	return both
}

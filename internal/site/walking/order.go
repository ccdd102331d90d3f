package walking

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"slices"
	"strings"

	"ohmkeep/internal/assess/walk"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// Order is what a person does at the page, the JSON of POST /walk/do.
type Order struct {
	Seen  int    `json:"seen"`  // State.Number that the page has shown
	Do    string `json:"do"`    // "shown", "take", "type", "skip", "skip step", "undo", "redo", "note", "pause", "resume", "end", "again"
	Place Place  `json:"place"` // of take, type and skip: as State had it; of shown and skip step the step alone
	Value string `json:"value"` // of type, as the meter shows it
	Unit  string `json:"unit"`  // of type
	Text  string `json:"text"`  // of note
}

// errOrder is the error of an order that makes no sense.
var errOrder = errors.New("not possible")

// carryOut adds to the walk what a person has done.
func (p *Pages) carryOut(ctx context.Context, o Order) error {
	kinds := map[string]walk.Kind{"undo": walk.Undo, "redo": walk.Redo, "pause": walk.Pause, "resume": walk.Resume, "end": walk.End, "again": walk.Begin}
	switch o.Do {
	case "shown":
		return p.Session.Do(ctx, o.Seen, walk.Event{Kind: walk.Shown, Step: o.Place.Step})
	case "take":
		x, ok := p.Session.Snapshot().Live.Reading()
		if !ok {
			return fmt.Errorf("%w: the meter shows no value", errOrder)
		}
		if (Place{x.Quantity.String(), x.From, x.To, x.Step}) != o.Place {
			return walk.ErrStale
		}
		return p.Session.Take(ctx, o.Seen, x)
	case "type":
		x, err := p.typed(o)
		if err != nil {
			return err
		}
		return p.Session.Take(ctx, o.Seen, x)
	case "skip":
		n, err := p.next(o.Place)
		if err != nil {
			return err
		}
		return p.Session.Do(ctx, o.Seen, p.Session.Snapshot().Walk.Skip(n))
	case "skip step":
		return p.Session.Do(ctx, o.Seen, walk.Event{Kind: walk.Skip, Step: o.Place.Step})
	case "note":
		return p.Session.Do(ctx, o.Seen, walk.Event{Kind: walk.Note, Text: strings.TrimSpace(o.Text), Step: o.Place.Step, From: o.Place.From, To: o.Place.To})
	}
	kind, known := kinds[o.Do]
	if !known {
		return fmt.Errorf("%w: %q is no order", errOrder, o.Do)
	}
	return p.Session.Do(ctx, o.Seen, walk.Event{Kind: kind})
}

// next returns the reading of a place, whose names must be those of the run.
func (p *Pages) next(at Place) (assessment.Next, error) {
	q := slices.Index(run.QuantityNames, at.Quantity)
	if q < 0 {
		return assessment.Next{}, fmt.Errorf("%w: %q is no quantity", errOrder, at.Quantity)
	}
	n := assessment.Next{Quantity: run.Quantity(q), From: at.From, To: at.To, Step: at.Step}
	if n.Quantity == run.Current {
		if p.Config.Run.FeedIndex(at.From) < 0 {
			return n, fmt.Errorf("%w: the run has no feed %q", errOrder, at.From)
		}
		return n, nil
	}
	for _, name := range []string{at.From, at.To} {
		if _, err := p.Config.Run.Point(name); err != nil {
			return n, fmt.Errorf("%w: %w", errOrder, err)
		}
	}
	return n, nil
}

// typed returns the reading that a person has typed.
func (p *Pages) typed(o Order) (reading.Reading, error) {
	n, err := p.next(o.Place)
	if err != nil {
		return reading.Reading{}, err
	}
	if task := p.Session.Snapshot().Task.Read; task.From == n.From && task.To == n.To {
		n.Meter = task.Meter
	}
	return p.Session.Typed(n, o.Value, o.Unit)
}

// hash returns a short name of a text.
func hash(text string) uint64 {
	h := fnv.New64a()
	_, _ = h.Write([]byte(text)) // it never fails
	return h.Sum64()
}

package guide

import (
	"cmp"
	"context"
	"slices"
	"time"

	"ohmkeep/internal/assess/walk"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/repeats"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
)

// journal keeps the events of a run's walks.
type journal interface {
	// events returns the events of all walks in the order of their numbers.
	events(ctx context.Context) ([]walk.Event, error)
	count(ctx context.Context) (int, error)
	// add keeps an event that leads from one state of the walk to the next; added is false where
	// another program was first.
	add(ctx context.Context, e walk.Event, from, to walk.Walk) (added bool, err error)
	// before returns the readings of known steps from a moment until before another.
	before(ctx context.Context, since, until time.Time) ([]reading.Reading, error)
}

// stored is the journal of a store.
type stored struct {
	store *store.Store
	run   *run.Run
}

// sourceName is the origin that readings of walks have in a store.
const sourceName = "survey"

func (j *stored) events(ctx context.Context) ([]walk.Event, error) {
	marks, err := j.store.AllMarks(ctx, j.run.Name, time.Time{}, time.Time{})
	if err != nil {
		return nil, err
	}
	var list []walk.Event
	for _, m := range marks {
		if m.Kind != store.MarkWalk {
			continue
		}
		e, err := walk.ParseEvent(m.Text)
		if err != nil {
			return nil, err
		}
		list = append(list, e)
	}
	slices.SortFunc(list, func(a, b walk.Event) int { return cmp.Compare(a.Number, b.Number) })
	return list, nil
}

func (j *stored) count(ctx context.Context) (int, error) {
	return j.store.EntryCount(ctx, j.run.Name, store.MarkWalk)
}

func (j *stored) add(ctx context.Context, e walk.Event, from, to walk.Walk) (bool, error) {
	entry := store.Entry{Number: e.Number, Mark: store.Mark{Time: e.Time, Kind: store.MarkWalk, Text: e.Marshal()}, Source: sourceName, Why: "in the survey"}
	entry.Add, entry.Withdraw, entry.Restore = from.Changes(to)
	return j.store.AddEntry(ctx, j.run.Name, entry)
}

func (j *stored) before(ctx context.Context, since, until time.Time) ([]reading.Reading, error) {
	all := repeats.New(j.run, false)
	for x, err := range j.store.Readings(ctx, j.run.Name, store.Filter{Since: since, Until: until}) {
		if err != nil {
			return nil, err
		}
		if x.Step != "" && !x.Misdated(until) {
			all.Add(x)
		}
	}
	list, _ := all.Readings()
	return list, nil
}

// memory is the journal of practice, which nothing outlives.
type memory struct{ list []walk.Event }

func (j *memory) events(context.Context) ([]walk.Event, error) { return j.list, nil }
func (j *memory) count(context.Context) (int, error)           { return len(j.list), nil }
func (j *memory) add(_ context.Context, e walk.Event, _, _ walk.Walk) (bool, error) {
	j.list = append(j.list, e)
	return true, nil
}
func (j *memory) before(context.Context, time.Time, time.Time) ([]reading.Reading, error) {
	return nil, nil
}

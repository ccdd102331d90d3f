// Package analysis is the watch's nightly analysis. It reads what was stored since the last
// analysis and updates the drift state in the store.
//
// The cost of a night therefore does not grow with the age of the store, and no change is
// reported twice after a restart. From a damaged store it uses the readings that can be read.
package analysis

import (
	"context"
	"iter"
	"log/slog"
	"slices"
	"strings"
	"time"

	"ohmkeep/internal/drift"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
)

// stateName is the name under which a store keeps the state of drift.
const stateName = "drift"

// Reader is where stored readings come from: a store, or a central database that has the same.
type Reader interface {
	// Readings returns the readings of a run in the order of time.
	Readings(ctx context.Context, runName string, f store.Filter) iter.Seq2[reading.Reading, error]
	// Marks returns the marks of a run that were not withdrawn.
	Marks(ctx context.Context, runName string, since, until time.Time) ([]store.Mark, error)
	// WasThinned reports whether old readings of a run were deleted.
	WasThinned(ctx context.Context, runName string) (bool, error)
	// State returns the state of an analysis that is kept under a name.
	State(ctx context.Context, runName, name string) (version int, data []byte, ok bool, err error)
}

// Keeper is a Reader that keeps the states of analyses too.
type Keeper interface {
	Reader
	// SetState keeps the state of an analysis under a name, in place of the one before.
	SetState(ctx context.Context, runName, name string, version int, data []byte) error
}

// Options are what an analysis works with.
type Options struct {
	Log *slog.Logger
	Now func() time.Time
}

// Run analyses what was stored of a run since the last analysis, logs the changes that
// are new, and returns what is known of every resistance.
func Run(ctx context.Context, s Keeper, r *run.Run, o Options) (*history.History, error) {
	state, err := load(ctx, s, r, o.Now())
	if err != nil {
		return nil, err
	}
	notes, err := Notes(ctx, s, r.Name)
	if err != nil && !store.Damaged(err) {
		return nil, err
	}
	if thinned, err := s.WasThinned(ctx, r.Name); err != nil {
		return nil, err
	} else if late(state, notes) && !thinned {
		state = &drift.State{Version: drift.Version}
	}
	state.Notes = notes
	f := drift.Follow(r, state)
	// The newest day is analysed again: readings may have been added to it.
	since := time.Unix(state.Day*86400, 0)
	calls, err := f.Take(withoutDamage(WellDated(s.Readings(ctx, r.Name, store.Filter{Since: since}), o.Now())))
	if err != nil {
		return nil, err
	}
	for _, c := range calls {
		o.Log.Warn("a resistance has changed", "kind", c.Kind, "name", c.Name, "what", c.What)
	}
	b, err := state.Encode()
	if err == nil {
		err = s.SetState(ctx, r.Name, stateName, drift.Version, b)
	}
	if err != nil {
		return nil, err
	}
	return state.History(r), nil
}

// late reports whether a note on earlier work was written after the days since were analysed. They
// are then analysed again from the first reading, so that what followed the work is not taken for
// a change.
func late(state *drift.State, notes []drift.Note) bool {
	return slices.ContainsFunc(notes, func(n drift.Note) bool { return n.At < state.Day*86400 && !slices.Contains(state.Notes, n) })
}

// Newest returns what the newest analysis found of a run; nil = there was none.
func Newest(ctx context.Context, s Reader, r *run.Run, now time.Time) (*history.History, error) {
	state, err := load(ctx, s, r, now)
	if err != nil || state.Last == 0 {
		return nil, err
	}
	return state.History(r), nil
}

// withoutDamage leaves out the error that ends the readings of a damaged store; the
// check of the store reports the damage.
func withoutDamage(readings iter.Seq2[reading.Reading, error]) iter.Seq2[reading.Reading, error] {
	return func(yield func(reading.Reading, error) bool) {
		for x, err := range readings {
			if !store.Damaged(err) && !yield(x, err) {
				return
			}
		}
	}
}

// WellDated leaves out readings whose date is known to be wrong.
func WellDated(readings iter.Seq2[reading.Reading, error], now time.Time) iter.Seq2[reading.Reading, error] {
	return func(yield func(reading.Reading, error) bool) {
		for x, err := range readings {
			if !x.Misdated(now) && !yield(x, err) {
				return
			}
		}
	}
}

// Beginning returns the state from which drift is followed, and the moment from which
// readings are used: the first one. If old readings were deleted, the state is that of the
// newest analysis, and readings are used from its last day on.
func Beginning(ctx context.Context, s Reader, r *run.Run, now time.Time) (state *drift.State, since time.Time, err error) {
	state = &drift.State{Version: drift.Version}
	thinned, err := s.WasThinned(ctx, r.Name)
	if err == nil && thinned {
		if state, err = load(ctx, s, r, now); err == nil {
			since = time.Unix(state.Day*86400, 0)
		}
	}
	if err != nil {
		return nil, since, err
	}
	state.Notes, err = Notes(ctx, s, r.Name)
	return state, since, err
}

// load returns the drift state in the store. A state of another version, or with a date more
// than two days in the future, is replaced by an empty one, so that it is computed again from
// the readings.
func load(ctx context.Context, s Reader, r *run.Run, now time.Time) (*drift.State, error) {
	version, b, ok, err := s.State(ctx, r.Name, stateName)
	if err != nil {
		return nil, err
	}
	if ok && version == drift.Version {
		if state, err := drift.Decode(b); err == nil && !time.Unix(state.Last, 0).After(now.AddDate(0, 0, 2)) {
			return state, nil
		}
	}
	return drift.Decode(nil)
}

// Notes returns what people have noted of a run in a store.
func Notes(ctx context.Context, s Reader, run string) ([]drift.Note, error) {
	marks, err := s.Marks(ctx, run, time.Time{}, time.Time{})
	var notes []drift.Note
	for _, m := range marks {
		if m.Kind == store.MarkNote {
			notes = append(notes, drift.Note{At: m.Time.Unix(), Text: strings.TrimSpace(m.Subject + " " + m.Text)})
		}
	}
	return notes, err
}

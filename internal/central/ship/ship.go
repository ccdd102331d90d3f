// Package ship sends what a store holds of a run to another database, and keeps in the store what
// has arrived.
//
// Readings are sent in the order of time, a batch at a time. A batch is held in memory and the store
// is not read meanwhile, so a slow destination costs neither memory nor the recording of readings.
// A batch counts as arrived when the destination has confirmed it. A program that is killed in
// between sends it again, and the destination ignores what it has.
package ship

import (
	"context"
	"log/slog"
	"math/rand/v2"
	"time"

	"ohmkeep/internal/store"
)

// Destination is a database that readings are sent to. It is for one goroutine.
type Destination interface {
	// Name identifies the destination in the store. It contains no password.
	Name() string
	// Have connects if necessary, and returns what the destination has of the run that a store sends;
	// zero = it does not say. confirmed is the newest turn that it has confirmed. It refuses a run that
	// another store sends.
	Have(ctx context.Context, identity string, confirmed int64) (store.Arrived, error)
	// Send sends readings and marks. When it returns without an error, they are safe there.
	Send(ctx context.Context, d *store.Delivery) error
	// Batch returns about how many readings should be sent at a time.
	Batch() int
	// Describe sends the run file and the newest verdicts.
	Describe(ctx context.Context, r Description) error
	// Close ends the connection; Have begins another one.
	Close() error
	// Permanent reports whether an error needs a person, so that trying again at once is of no use.
	Permanent(err error) bool
}

// MaxBatch is the largest number of readings that are sent at a time: some MB of memory.
const MaxBatch = 20000

// Once sends everything that has not arrived. progress is called with the number of readings of
// each batch that has arrived; it may be nil.
func Once(ctx context.Context, s *store.Store, runName string, to Destination, progress func(readings int)) (readings, marks int, err error) {
	for {
		d, err := step(ctx, use(s), runName, to)
		if err != nil {
			return readings, marks, err
		}
		readings, marks = readings+len(d.Readings), marks+len(d.Marks)
		if progress != nil {
			progress(len(d.Readings))
		}
		if !d.More {
			return readings, marks, nil
		}
	}
}

// use returns the function that calls another with a store.
func use(s *store.Store) func(func(*store.Store) error) error {
	return func(do func(*store.Store) error) error { return do(s) }
}

// step sends one batch.
func step(ctx context.Context, use func(func(*store.Store) error) error, runName string, to Destination) (d *store.Delivery, err error) {
	var identity string
	var confirmed int64
	if err := use(func(s *store.Store) (err error) {
		identity, confirmed, err = s.Sender(ctx, runName, to.Name()) // before Have: another program may send too
		return err
	}); err != nil {
		return nil, err
	}
	have, err := to.Have(ctx, identity, confirmed)
	if err != nil {
		return nil, err
	}
	err = use(func(s *store.Store) error {
		d, err = s.Undelivered(ctx, runName, to.Name(), have, to.Batch())
		return err
	})
	if err != nil {
		return nil, err
	}
	if err := to.Send(ctx, d); err != nil {
		return nil, err
	}
	return d, use(func(s *store.Store) error { return s.Delivered(ctx, d) })
}

// Follower sends what is added to a store for as long as a watch runs.
type Follower struct {
	Use   func(func(*store.Store) error) error // calls a function with the open store
	Run   string
	To    Destination
	Every time.Duration // between two looks at the store
	// Release closes the connection between two looks, so that a server has connections for more
	// programs than it can hold at once.
	Release bool
	Log     *slog.Logger
	// Descriptions are sent one after the other; each replaces the one before.
	Descriptions <-chan Description
}

// The shortest and longest pause after a failure. Each one is up to twice as long as the one before.
const (
	minPause = time.Second
	maxPause = 5 * time.Minute
)

// Follow sends until ctx ends. No error of the destination ends it: it is logged once, and what has
// not arrived stays in the store.
func (f *Follower) Follow(ctx context.Context) {
	defer f.To.Close()
	pause, failed := minPause, false
	var waiting *Description
	for ctx.Err() == nil {
		wait := f.Every
		more, err := f.send(ctx, &waiting)
		switch {
		case ctx.Err() != nil:
			return
		case err != nil:
			_ = f.To.Close()
			if !failed {
				f.Log.Warn("nothing is shipped; readings wait in the store", "to", f.To.Name(), "why", err)
			}
			failed = true
			if f.To.Permanent(err) {
				pause = maxPause
			}
			wait = pause/2 + rand.N(pause/2)
			pause = min(2*pause, maxPause)
		default:
			if failed {
				f.Log.Info("shipping again", "to", f.To.Name())
			}
			pause, failed = minPause, false
			if more {
				wait = 0
			} else if f.Release {
				_ = f.To.Close()
			}
		}
		select {
		case r := <-f.Descriptions:
			waiting = &r
		case <-time.After(wait):
		case <-ctx.Done():
		}
	}
}

// send sends one batch, and then a description that waits.
func (f *Follower) send(ctx context.Context, waiting **Description) (more bool, err error) {
	select {
	case r := <-f.Descriptions:
		*waiting = &r
	default:
	}
	d, err := step(ctx, f.Use, f.Run, f.To)
	if err != nil {
		return false, err
	}
	if *waiting != nil {
		if err := f.To.Describe(ctx, **waiting); err != nil {
			return false, err
		}
		*waiting = nil
	}
	return d.More, nil
}

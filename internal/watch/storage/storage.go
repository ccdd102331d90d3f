// Package storage is a watch's policy for its store: it commits the recorder's batches,
// continues after damage of the file, checks the file every week, and returns notes on its
// state.
//
// If a damaged file can still be written, the damage is a note: new readings are stored and
// undamaged ones are used. If it cannot be written, it is renamed and its readable content is
// copied to a new file. This is done at most every ten minutes, because a failing card damages
// the new file too; until then readings wait in the recorder.
//
// Marks go into the commit of the readings beside them. A sample that is not good is
// stored with its quality and the device's own text. A register's counts are stored as
// such, so that a corrected shunt can be applied later.
package storage

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"runtime/debug"
	"slices"
	"sync"
	"time"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/analysis"
	"ohmkeep/internal/watch/machine"
	"ohmkeep/internal/watch/metrics"
	"ohmkeep/internal/watch/recorder"
)

// Options are the settings of a watch's store.
type Options struct {
	Path    string // of the store's file, which is made where it does not exist
	RunFile string
	Run     string        // the run's name
	Listen  string        // where the watch answers over HTTP
	Boot    string        // id of the machine's boot
	Keep    time.Duration // how long readings outside known steps are kept; 0 = for ever
	Log     *slog.Logger
	Now     func() time.Time // nil: time.Now
}

// Store is the store of a watch. Its methods may be called from any goroutine.
type Store struct {
	o     Options
	owner store.Owner

	mu      sync.RWMutex // read-locked while file or writer is used
	file    *store.Store // nil: it could not be opened again
	writer  *store.Writer
	newBoot bool // the machine was started since the store was last written to

	noteMu      sync.Mutex // guards the fields up to moved
	damagedFile string     // where the newest damaged file is kept; "" = none was
	rescued     time.Time
	faults      []string // of the newest check
	checked     time.Time
	moved       []string // notes on files that were displaced

	stop chan struct{} // closed to end guard
}

// Open opens a store for writing. A store that is too damaged is renamed and replaced.
func Open(ctx context.Context, o Options) (*Store, error) {
	if o.Now == nil {
		o.Now = time.Now
	}
	s := &Store{o: o, owner: store.Owner{Name: "ohmkeep watch " + o.RunFile, Address: o.Listen, Boot: o.Boot}, stop: make(chan struct{})}
	if err := s.openOrRescue(ctx); err != nil {
		return s, err
	}
	go s.guard()
	return s, nil
}

// openOrRescue opens the file, after a rescue where it is too damaged.
func (s *Store) openOrRescue(ctx context.Context) error {
	err := s.openFile(ctx)
	if store.Damaged(err) {
		err = s.rescue(ctx, err)
	}
	return err
}

func (s *Store) openFile(ctx context.Context) error {
	file, err := store.Open(s.o.Path)
	if err != nil {
		return err
	}
	starts, err := file.Starts(ctx)
	if err == nil {
		s.newBoot = !slices.ContainsFunc(starts, func(x store.Start) bool { return x.Name == s.owner.Boot })
		s.writer, err = file.Writer(ctx, s.owner)
	}
	if err != nil {
		return errors.Join(err, file.Close())
	}
	s.file = file
	return nil
}

// closeFile closes writer and file.
func (s *Store) closeFile() (err error) {
	if s.writer != nil {
		err = s.writer.Close()
	}
	if s.file != nil {
		err = errors.Join(err, s.file.Close())
	}
	s.writer, s.file = nil, nil
	return err
}

// Close closes the store and releases the claim. It commits nothing.
func (s *Store) Close() error {
	s.stopGuard()
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.closeFile()
}

// Keep stores the readings and marks of a batch in one commit.
func (s *Store) Keep(ctx context.Context, b recorder.Batch) error {
	err := s.keep(ctx, b)
	displaced := errors.Is(err, store.ErrDisplaced)
	if !displaced && !store.Damaged(err) && !errors.Is(err, errClosed) {
		return err
	}
	s.mu.Lock()
	switch {
	case s.file == nil:
		err = s.openOrRescue(ctx)
	case displaced:
		err = s.moveToNewFile(ctx)
	default:
		err = s.rescue(ctx, err)
	}
	s.mu.Unlock()
	if err != nil {
		return err
	}
	return s.keep(ctx, b)
}

var errClosed = errors.New("the store is closed")

func (s *Store) keep(ctx context.Context, b recorder.Batch) error {
	s.mu.RLock()
	defer s.mu.RUnlock()
	if s.writer == nil {
		return errClosed
	}
	return committer{s.writer, s.o.RunFile, s.newBoot}.commit(ctx, b)
}

// use calls a function with the open store. The store is not replaced meanwhile.
func (s *Store) use(do func(*store.Store) error) error {
	s.mu.RLock()
	defer s.mu.RUnlock()
	if s.file == nil {
		return errClosed
	}
	return do(s.file)
}

// With calls a function with the open store, such as one that sends readings elsewhere. The store
// is not replaced meanwhile, so the function must not wait for anything outside.
func (s *Store) With(do func(*store.Store) error) error { return s.use(do) }

// ListensAt notes where the watch answers over HTTP.
func (s *Store) ListensAt(address string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.owner.Address = address
	if s.writer != nil {
		_ = s.writer.At(address) // differs only if the system has chosen the port
	}
}

// Analyse checks the store if a check is due, analyses its readings, and deletes old readings.
func (s *Store) Analyse(ctx context.Context, plan recorder.Plan) (found *history.History, err error) {
	defer s.releaseMemory()
	s.check(ctx)
	err = s.use(func(file *store.Store) (err error) {
		found, err = analysis.Run(ctx, file, plan.Run, analysis.Options{Log: s.o.Log, Now: s.o.Now})
		if err == nil { // the drift state now includes the readings to be deleted
			s.thin(ctx, file, plan.Run.Name)
		}
		return err
	})
	return found, err
}

// NewestHistory returns what the newest analysis found; nil = there was none, or it
// cannot be read.
func (s *Store) NewestHistory(ctx context.Context, r *run.Run) (found *history.History) {
	_ = s.use(func(file *store.Store) (err error) {
		found, err = analysis.Newest(ctx, file, r, s.o.Now())
		return err
	})
	return found
}

// releaseMemory frees the memory that a long read of the store has used.
func (s *Store) releaseMemory() {
	_ = s.use(func(file *store.Store) error { file.ReleaseMemory(); return nil }) // a closed store uses no memory
	debug.FreeOSMemory()
}

// Disk returns the state of the disk that the store is on, and whether the store is
// whole as far as is known.
func (s *Store) Disk() (metrics.Disk, error) {
	space, err := machine.ReadDiskSpace(s.o.Path)
	if err != nil {
		return metrics.Disk{}, err
	}
	d := metrics.Disk{Damaged: len(s.Notes()) > 0, Free: space.Free, Size: space.Size, Written: space.Written}
	for _, part := range []string{"", "-wal", "-shm"} {
		if info, err := os.Stat(s.o.Path + part); err == nil {
			d.Store += info.Size()
		}
	}
	return d, nil
}

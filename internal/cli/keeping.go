package cli

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"slices"
	"sync"
	"time"

	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/metrics"
	"ohmkeep/internal/watch/recorder"
)

// keeping is the store that a watch keeps. Where its file turns out to be damaged so
// that nothing more can be written, it is put aside and a new one takes its place, with
// all that can still be read; until then readings wait in memory. So a bad block costs
// what was in it, and neither what comes after nor the watch.
type keeping struct {
	path  string
	owner store.Owner
	file  string // the run file
	run   string // its name
	log   *slog.Logger
	now   func() time.Time

	mu     sync.RWMutex // held for reading by who uses store
	store  *store.Store // nil: it could not be opened again
	writer *store.Writer
	boot   bool // the machine was started since the store was last written to

	told    sync.Mutex
	aside   string // where the newest damaged file is kept; "" = none was
	rescued time.Time
	faults  []string // what the newest check has found
	checked time.Time
}

// betweenRescues spares a disk that goes bad under each new file.
const betweenRescues = 10 * time.Minute

// open opens the store to write to it.
func (k *keeping) open(ctx context.Context) error {
	err := k.begin(ctx)
	if store.Damaged(err) {
		err = k.rescue(ctx, err)
	}
	return err
}

func (k *keeping) begin(ctx context.Context) error {
	s, err := store.Open(k.path)
	if err != nil {
		return err
	}
	starts, err := s.Starts(ctx)
	if err == nil {
		k.boot = !slices.ContainsFunc(starts, func(s store.Start) bool { return s.Name == k.owner.Boot })
		k.writer, err = s.Writer(ctx, k.owner)
	}
	if err != nil {
		return errors.Join(err, s.Close())
	}
	k.store = s
	return nil
}

// rescue puts the damaged file aside and goes on with a new one.
func (k *keeping) rescue(ctx context.Context, why error) error {
	k.told.Lock()
	soon := !k.rescued.IsZero() && k.now().Sub(k.rescued) < betweenRescues
	k.told.Unlock()
	if soon {
		return why
	}
	k.log.Error("the store is damaged; what can be read of it is taken into a new one", "store", k.path, "why", why)
	_ = k.shut() // what it says of the damage is known
	aside, err := store.Rescue(ctx, k.path)
	if err != nil {
		return errors.Join(why, err)
	}
	k.told.Lock()
	k.aside, k.rescued = aside, k.now()
	k.told.Unlock()
	k.log.Error("the damaged store is put aside", "store", k.path, "kept as", aside)
	if err := k.begin(ctx); err != nil {
		return err
	}
	if err := k.store.Mark(ctx, k.run, store.Mark{Time: k.now(), Kind: store.MarkDamaged, Text: "kept as " + aside}); err != nil {
		k.log.Warn("the damage is not marked", "why", err)
	}
	return nil
}

// shut closes what is open.
func (k *keeping) shut() (err error) {
	if k.writer != nil {
		err = k.writer.Close()
	}
	if k.store != nil {
		err = errors.Join(err, k.store.Close())
	}
	k.writer, k.store = nil, nil
	return err
}

func (k *keeping) close() error {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.shut()
}

// Keep stores the readings and marks of a batch in one commit.
func (k *keeping) Keep(ctx context.Context, b recorder.Batch) error {
	err := k.keep(ctx, b)
	if !store.Damaged(err) && !errors.Is(err, errShut) {
		return err
	}
	k.mu.Lock()
	if k.store == nil {
		err = k.open(ctx)
	} else {
		err = k.rescue(ctx, err)
	}
	k.mu.Unlock()
	if err != nil {
		return err
	}
	return k.keep(ctx, b)
}

var errShut = errors.New("the store is not open")

func (k *keeping) keep(ctx context.Context, b recorder.Batch) error {
	k.mu.RLock()
	defer k.mu.RUnlock()
	if k.writer == nil {
		return errShut
	}
	return storing{k.writer, k.file, k.boot}.Keep(ctx, b)
}

// use does something with the open store, which is not exchanged meanwhile.
func (k *keeping) use(do func(*store.Store) error) error {
	k.mu.RLock()
	defer k.mu.RUnlock()
	if k.store == nil {
		return errShut
	}
	return do(k.store)
}

// at says that the watch can be asked at another address.
func (k *keeping) at(address string) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.owner.Address = address
	if k.writer != nil {
		_ = k.writer.At(address) // it says so already but for a port that the system chose
	}
}

// betweenChecks spares the disk: a check reads all of the store, which grows.
const betweenChecks = 7 * 24 * time.Hour

// check reads all of the store, after the start and once a week, and says what is new of
// its damage.
func (k *keeping) check(ctx context.Context) {
	k.told.Lock()
	soon := !k.checked.IsZero() && k.now().Sub(k.checked) < betweenChecks-time.Hour
	k.told.Unlock()
	if soon {
		return
	}
	var found store.Found
	err := k.use(func(s *store.Store) (err error) {
		found, err = s.Check(ctx)
		return err
	})
	if err != nil {
		if !store.Damaged(err) {
			return // it ends, or is not open, which is told otherwise
		}
		found.Faults = append(found.Faults, err.Error())
	}
	k.told.Lock()
	defer k.told.Unlock()
	if len(found.Faults) > 0 && !slices.Equal(found.Faults, k.faults) {
		k.log.Error("the store is damaged", "store", k.path, "what", found.Faults[0], "faults", len(found.Faults))
	}
	k.faults, k.checked = found.Faults, k.now()
}

// rest gives back to the system what reading much of the store has taken.
func (k *keeping) rest() {
	_ = k.use(func(s *store.Store) error { s.Rest(); return nil }) // one that is not open holds nothing
	debug.FreeOSMemory()
}

// disk tells what the store lies on, and whether it is whole as far as is known.
func (k *keeping) disk() (metrics.Disk, error) {
	d, err := diskOf(k.path)
	d.Damaged = len(k.notes()) > 0
	return d, err
}

// notes says what somebody should know of the store.
func (k *keeping) notes() (notes []string) {
	k.told.Lock()
	defer k.told.Unlock()
	if n := len(k.faults); n > 0 {
		notes = append(notes, fmt.Sprintf("%s is damaged: %s (%s; what is whole is served, ohmkeep store compact keeps it)",
			k.path, k.faults[0], count(n, "fault")))
	}
	if k.aside != "" {
		notes = append(notes, fmt.Sprintf("%s was damaged and is kept as %s; what can be read of it was taken over at %s", k.path, k.aside,
			k.rescued.Format(time.RFC3339)))
	}
	return notes
}

package recorder

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// commits is the state of the commits to the store.
type commits struct {
	anyStored bool // readings were stored since the start
	done      uint64
	failed    uint64
	refused   uint64        // readings that the store would never take
	last      time.Duration // when the last successful commit ended, since boot
	duration  time.Duration // of the last successful commit
	err       error         // of the last commit; nil = it succeeded
	errSince  time.Duration // since when commits have failed, since boot
}

const (
	firstRetry = 200 * time.Millisecond
	lastRetry  = 10 * time.Second
	// firstCommit is the longest interval before the first commit with readings, so that a
	// watch that has just been started soon shows that it works.
	firstCommit = 500 * time.Millisecond
	// lastCommit is the time-out of the commit when the watch ends.
	lastCommit = 1200 * time.Millisecond
)

// commitQueue commits the queue until ctx ends, and then once more.
func (r *Recorder) commitQueue(ctx context.Context) {
	var held Batch
	pause, retry := time.Duration(0), time.Duration(0) // retry: when to try again, since boot; 0 = the last commit succeeded
	timer := time.NewTimer(time.Hour)
	defer timer.Stop()
	for {
		timer.Reset(r.timeToCommit(held, retry))
		select {
		case <-ctx.Done():
			final, cancel := context.WithTimeout(context.WithoutCancel(ctx), lastCommit)
			defer cancel()
			for r.fill(&held); !held.empty() && r.tryCommit(final, &held); r.fill(&held) {
			}
			return
		case <-r.wake:
			if r.timeToCommit(held, retry) > 0 {
				continue
			}
		case <-timer.C:
		}
		r.o.Clock.Check()
		r.fill(&held)
		switch {
		case held.empty() || r.tryCommit(ctx, &held):
			pause, retry = 0, 0
		default:
			pause = min(max(2*pause, firstRetry), lastRetry)
			retry = r.o.Clock.SinceBoot() + pause
		}
	}
}

func (b Batch) empty() bool { return len(b.Readings) == 0 && len(b.Marks) == 0 && len(b.kept) == 0 }

// timeToCommit returns how long the writer may wait so that the oldest reading is stored in time.
func (r *Recorder) timeToCommit(held Batch, retry time.Duration) time.Duration {
	if retry > 0 {
		return max(retry-r.o.Clock.SinceBoot(), 0)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if !held.empty() || r.queue.waiting >= batchSize || len(r.queue.awaited) >= maxAwaited {
		return 0
	}
	if r.queue.empty() {
		return time.Hour // until wakeWriter
	}
	interval := r.o.Commit
	if !r.commit.anyStored {
		interval = min(interval, firstCommit)
	}
	ahead := max(interval/10, 3*r.commit.duration) // what the commit itself will take
	due := r.queue.oldest + interval - min(ahead, interval/2)
	return max(due-r.o.Clock.SinceBoot(), 0)
}

// fill takes the next batch from the queue if held is empty.
func (r *Recorder) fill(held *Batch) {
	if !held.empty() {
		return
	}
	r.mu.Lock()
	if n := r.queue.unmarked; n > 0 {
		r.queue.unmarked = 0
		r.mark(r.o.Clock.Now(), Dropped, "", fmt.Sprintf("%d readings: the queue was full", n))
	}
	*held = r.queue.take()
	lost := r.queue.lost
	r.queue.lost = nil
	r.mu.Unlock()
	for _, done := range lost {
		done(false)
	}
}

// tryCommit commits a batch and empties it, and reports whether it succeeded. If it fails
// half-way, held keeps only what is not stored.
func (r *Recorder) tryCommit(ctx context.Context, held *Batch) (ok bool) {
	defer func() { // without the lock
		if ok {
			for _, done := range held.kept {
				done(true)
			}
			*held = Batch{}
		}
	}()
	begun := r.o.Clock.SinceBoot()
	waiting := len(held.Readings)
	err := r.o.Store.Keep(ctx, *held)
	switch {
	case err == nil:
		r.stored(held, len(held.Readings))
	case errors.Is(err, ErrRefused):
		err = r.storeInParts(ctx, held)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	now := r.o.Clock.SinceBoot()
	if err != nil && ctx.Err() != nil {
		return false // the watch ends, and commits once more
	}
	if err != nil {
		r.commit.failed++
		if r.commit.err == nil {
			r.commit.errSince = now
			r.o.Log.Error("the store does not commit", "why", err, "waiting", len(held.Readings)+r.queue.waiting)
		}
		r.commit.err = err
		return false
	}
	if r.commit.err != nil {
		r.o.Log.Info("the store commits again", "after", (now - r.commit.errSince).Round(time.Second))
	}
	r.commit.done++
	r.commit.anyStored = r.commit.anyStored || waiting > 0
	r.commit.err, r.commit.last, r.commit.duration = nil, now, now-begun
	return true
}

// storeInParts stores a refused batch in parts, in its order, and leaves out the readings that the
// store refuses one by one.
func (r *Recorder) storeInParts(ctx context.Context, held *Batch) error {
	refused, all := 0, error(ErrRefused) // all: the store's answer to the whole batch; nil = not tried
	for len(held.Readings) > 0 {
		n, err := len(held.Readings), all
		if err == nil {
			err = r.o.Store.Keep(ctx, Batch{Readings: held.Readings})
		}
		all = nil
		for errors.Is(err, ErrRefused) && n > 1 {
			n /= 2
			err = r.o.Store.Keep(ctx, Batch{Readings: held.Readings[:n]})
		}
		switch {
		case err == nil:
			r.stored(held, n)
		case errors.Is(err, ErrRefused):
			refused++
			r.drop(held)
		default:
			return err
		}
	}
	if refused > 0 {
		r.o.Log.Error("the store refused readings", "readings", refused)
	}
	if err := r.o.Store.Keep(ctx, Batch{Marks: held.Marks}); err != nil && !errors.Is(err, ErrRefused) {
		return err
	}
	return nil
}

// stored notes that the first n readings are safe on disk.
func (r *Recorder) stored(held *Batch, n int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, x := range held.Readings[:n] {
		if x.Quality.Measured() {
			r.totals(x.Probe).stored++
		}
	}
	held.Readings = held.Readings[n:]
	r.queue.taken -= n
}

// drop removes the first reading, which the store refuses.
func (r *Recorder) drop(held *Batch) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.commit.refused++
	held.Readings = held.Readings[1:]
	r.queue.taken--
}

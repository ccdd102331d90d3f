package storage

import (
	"context"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/repeats"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
)

// NewestMarks is that of the store. From a damaged store it returns those that can be read.
func (s *Store) NewestMarks(ctx context.Context, runName, kind, without string, most int) (marks []store.Mark, err error) {
	err = s.use(func(file *store.Store) error {
		marks, err = file.NewestMarks(ctx, runName, kind, without, most)
		return withoutDamage(err)
	})
	return marks, err
}

// ByHand returns what was read of a run in known steps by hand or from files, not by probes.
// Repeated readings of a place in a step are combined; of those only the newest count.
func (s *Store) ByHand(ctx context.Context, r *run.Run) (list []reading.Reading, err error) {
	defer s.releaseMemory()
	gathered, none := repeats.New(r, false), ""
	err = s.use(func(file *store.Store) error {
		for x, err := range file.Selected(ctx, store.Selection{Run: r.Name, Probe: &none}) {
			if err != nil {
				return withoutDamage(err)
			}
			if x.Step != "" && !x.Misdated(s.o.Now()) {
				gathered.Add(x)
			}
		}
		return nil
	})
	list, _ = gathered.Readings()
	return list, err
}

// Note stores a note of a person on work done at a time.
func (s *Store) Note(ctx context.Context, runName string, at time.Time, text string) error {
	return s.use(func(file *store.Store) error {
		return file.Mark(ctx, runName, store.Mark{Time: at, Kind: store.MarkNote, Text: text})
	})
}

// MinMeanMax is that of the store. From a damaged store it uses the readings that can be read.
func (s *Store) MinMeanMax(ctx context.Context, sel store.Selection, n int) (buckets []store.Bucket, err error) {
	defer s.releaseMemory()
	err = s.use(func(file *store.Store) error {
		buckets, err = file.MinMeanMax(ctx, sel, n)
		return withoutDamage(err)
	})
	return buckets, err
}

// Span returns the moments of the first and the last reading of a run; both are zero where there
// are none.
func (s *Store) Span(ctx context.Context, runName string) (first, last time.Time, err error) {
	err = s.use(func(file *store.Store) error {
		runs, err := file.Runs(ctx)
		for _, r := range runs {
			if r.Name == runName {
				first, last = r.First, r.Last
			}
		}
		return withoutDamage(err)
	})
	return first, last, err
}

// withoutDamage returns nil for the error of a damaged store, which the weekly check reports.
func withoutDamage(err error) error {
	if store.Damaged(err) {
		return nil
	}
	return err
}

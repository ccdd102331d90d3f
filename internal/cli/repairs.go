package cli

import (
	"context"
	"fmt"
	"io"
	"slices"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/repeats"
	"ohmkeep/internal/report"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
	"ohmkeep/internal/text/printable"
)

// maxRepairs is how many noted repairs a report shows, the newest.
const maxRepairs = 8

// notedRepairs returns the newest repairs that were noted on a run, in the order of time.
func notedRepairs(ctx context.Context, s *opened, r *run.Run) (repairs []report.Repair, err error) {
	marks, err := s.Marks(ctx, r.Name, time.Time{}, time.Time{})
	if err != nil && !store.Damaged(err) {
		return nil, err
	}
	for _, m := range marks {
		if m.Kind == store.MarkNote {
			repairs = append(repairs, report.Repair{Time: m.Time, Text: m.Text})
		}
	}
	slices.SortStableFunc(repairs, func(a, b report.Repair) int { return a.Time.Compare(b.Time) })
	return repairs[max(0, len(repairs)-maxRepairs):], nil
}

// printMixed prints that readings from before and after the newest repair are judged together.
func (f *source) printMixed(w io.Writer, list []reading.Reading) {
	if len(f.repairs) == 0 {
		return
	}
	newest := f.repairs[len(f.repairs)-1]
	before := report.Before(newest.Time, list)
	if before > 0 && before < len(list) {
		fmt.Fprintf(w, "%d of %s were taken before the repair %q; --since %s leaves them out\n", before, count(len(list), "reading"),
			printable.Short(newest.Text, 60), newest.Time.Format(time.RFC3339))
	}
}

// stretches gathers the readings between repairs.
type stretches struct {
	repairs []report.Repair
	between []*repeats.Gatherer // one more than repairs; none without repairs or without a report
}

// betweenRepairs returns the stretches between the repairs, if a report is wanted.
func (f *source) betweenRepairs(r *run.Run) *stretches {
	s := &stretches{repairs: f.repairs}
	for i := 0; f.forReport && len(f.repairs) > 0 && i <= len(f.repairs); i++ {
		s.between = append(s.between, repeats.New(r, false))
	}
	return s
}

func (s *stretches) add(x reading.Reading) {
	if len(s.between) == 0 {
		return
	}
	at := 0
	for at < len(s.repairs) && !x.Time.Before(s.repairs[at].Time) {
		at++
	}
	s.between[at].Add(x)
}

func (s *stretches) readings() (lists [][]reading.Reading) {
	for _, g := range s.between {
		list, _ := g.Readings()
		lists = append(lists, list)
	}
	return lists
}

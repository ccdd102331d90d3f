package replica

import (
	"context"
	"time"

	"ohmkeep/internal/central/archive"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/reading/repeats"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/recorder"
	"ohmkeep/internal/watch/service"
)

// Status returns what a status can say of a run whose watch is elsewhere: its probes and what they
// measure, without values.
func (r *Run) Status() service.Status {
	of := r.Run()
	s := service.Status{Schema: 1, Well: true, Reasons: []string{}, Notes: of.ParallelWarnings(),
		Snapshot: recorder.Snapshot{Run: of.Name, Time: r.by.c.Now(), Certain: true}}
	for _, p := range of.Probes {
		state := recorder.ProbeState{Name: p.Name, Profile: p.Profile}
		for _, c := range p.Channels {
			state.Channels = append(state.Channels, recorder.ChannelState{ID: c.ID, Quantity: c.Quantity, What: c.Quantity.String(), From: c.From, To: c.To})
		}
		s.Probes = append(s.Probes, state)
	}
	return s
}

// NewestMarks is that of the store of the run.
func (r *Run) NewestMarks(ctx context.Context, _, kind, without string, most int) (marks []store.Mark, err error) {
	err = r.reading(ctx, func(a *archive.Reader) error {
		marks, err = a.NewestMarks(ctx, r.name, kind, without, most)
		return err
	})
	return marks, err
}

// ByHand returns what was read of a run in known steps by hand or from files, not by probes.
// Repeated readings of a place in a step are combined; of those only the newest count.
func (r *Run) ByHand(ctx context.Context, of *run.Run) (list []reading.Reading, err error) {
	gathered, none := repeats.New(of, false), ""
	err = r.reading(ctx, func(a *archive.Reader) error {
		for x, err := range a.Selected(ctx, store.Selection{Run: r.name, Probe: &none}) {
			if err != nil {
				return err
			}
			if x.Step != "" && !x.Misdated(r.by.c.Now()) {
				gathered.Add(x)
			}
		}
		return nil
	})
	list, _ = gathered.Readings()
	return list, err
}

// MinMeanMax is that of the store of the run.
func (r *Run) MinMeanMax(ctx context.Context, sel store.Selection, n int) (buckets []store.Bucket, err error) {
	sel.Run = r.name
	err = r.reading(ctx, func(a *archive.Reader) error {
		buckets, err = a.MinMeanMax(ctx, sel, n)
		return err
	})
	return buckets, err
}

// Span is that of the store of the run.
func (r *Run) Span(ctx context.Context, _ string) (first, last time.Time, err error) {
	err = r.reading(ctx, func(a *archive.Reader) error {
		first, last, err = a.Span(ctx, r.name)
		return err
	})
	return first, last, err
}

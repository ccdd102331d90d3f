// Package description makes what is sent of a run beside its readings: the run file, and the
// verdicts on its elements.
package description

import (
	"context"
	"time"

	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/central/ship"
	"ohmkeep/internal/drift"
	"ohmkeep/internal/file"
	"ohmkeep/internal/reading/repeats"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/analysis"
)

// Make returns the description of a run: the verdicts of an analysis for drift, and those of an
// assessment of all readings whose step is known. Without an analysis (nil) the readings are
// analysed. A run without readings has no verdicts.
func Make(ctx context.Context, s analysis.Reader, r *run.Run, found *history.History, now time.Time) (ship.Description, error) {
	made := ship.Description{Taken: now, Place: r.Installation.Place, Installer: r.Installation.Installer}
	text, err := file.Read(r.File, file.MaxRunFile)
	if err != nil {
		return made, err
	}
	made.File = string(text)
	if found == nil {
		if found, err = analyse(ctx, s, r, now); err != nil {
			return made, err
		}
	}
	made.Verdicts = ship.OfHistory(found, drift.Fails)
	assessed, err := assess(ctx, s, r, now)
	made.Verdicts = append(made.Verdicts, assessed...)
	return made, err
}

// analyse follows drift through all readings, or returns the result of the newest analysis.
func analyse(ctx context.Context, s analysis.Reader, r *run.Run, now time.Time) (*history.History, error) {
	if newest, err := analysis.Newest(ctx, s, r, now); err != nil || newest != nil {
		return newest, err
	}
	state, since, err := analysis.Beginning(ctx, s, r, now)
	if err != nil {
		return nil, err
	}
	f := drift.Follow(r, state)
	if _, err := f.Take(analysis.WellDated(s.Readings(ctx, r.Name, store.Filter{Since: since}), now)); err != nil {
		return nil, err
	}
	return f.State.History(r), nil
}

// assess judges the readings of known steps. Readings that cannot be fitted have no verdicts.
func assess(ctx context.Context, s analysis.Reader, r *run.Run, now time.Time) ([]ship.Verdict, error) {
	all := repeats.New(r, false)
	n := 0
	for _, step := range r.Steps {
		for x, err := range analysis.WellDated(s.Readings(ctx, r.Name, store.Filter{Step: step.Name}), now) {
			if err != nil {
				return nil, err
			}
			n++
			x.Row = n + 1
			all.Add(x)
		}
	}
	if n == 0 {
		return nil, nil
	}
	list, _ := all.Readings()
	a, err := judge.Make(r, list)
	if err != nil {
		return nil, nil
	}
	return ship.OfAssessment(a), nil
}

package service

import (
	"context"
	"time"
)

// analysisTime is the time of day of the analysis, in the machine's time zone: after the usual
// scheduled checks (common practice, no source).
const analysisTime = 4 * time.Hour

// firstAnalysis is the time from the start to the first analysis, which would delay the start.
const firstAnalysis = time.Minute

// analyse runs an analysis soon after the start, then every night, and when one is wanted.
func (d *Daemon) analyse(ctx context.Context) error {
	if d.config.Analyse == nil {
		return nil
	}
	wait := d.config.AnalyseAfter
	if wait == 0 {
		wait = firstAnalysis
	}
	for ; ; wait = untilNight(time.Now()) {
		select {
		case <-time.After(wait):
		case <-d.analysisWanted:
		case <-ctx.Done():
			return nil
		}
		d.runAnalysis(ctx)
	}
}

// runAnalysis runs one analysis.
func (d *Daemon) runAnalysis(ctx context.Context) {
	found, err := d.config.Analyse(ctx, *d.plan.Load())
	switch {
	case ctx.Err() != nil:
	case err != nil:
		d.config.Log.Error("the nightly analysis failed; the previous result is kept", "why", err)
	default:
		d.history.Store(found)
	}
}

// untilNight returns the time until the next analysis.
func untilNight(now time.Time) time.Duration {
	midnight := time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, now.Location())
	next := midnight.Add(analysisTime)
	if !next.After(now) {
		next = midnight.AddDate(0, 0, 1).Add(analysisTime)
	}
	return next.Sub(now)
}

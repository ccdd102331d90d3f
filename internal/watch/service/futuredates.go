package service

import (
	"context"
	"time"
)

// maxFuture is how far in the future a stored date may be before it is marked as uncertain.
const maxFuture = time.Minute

// markFutureDates marks stored dates in the future as uncertain, each time that dates become
// certain.
func (d *Daemon) markFutureDates(ctx context.Context) error {
	for d.config.MarkUncertain != nil {
		select {
		case <-d.datesCertain:
		case <-ctx.Done():
			return nil
		}
		select {
		case <-time.After(2 * d.config.Commit): // a commit in progress has ended by then
		case <-ctx.Done():
			return nil
		}
		if now := d.clock.Now(); !now.Uncertain {
			if err := d.config.MarkUncertain(ctx, now.Time.Add(maxFuture)); err != nil && ctx.Err() == nil {
				d.config.Log.Error("stored dates cannot be compared with the clock", "why", err)
			}
		}
	}
	return nil
}

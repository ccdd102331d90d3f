package service

import (
	"context"
	"time"
)

// maxFuture is how far a stored date may lie in the future.
const maxFuture = time.Minute

// markFutureDates has stored dates marked as uncertain that lie in the future when dates become
// certain.
func (d *Daemon) markFutureDates(ctx context.Context) error {
	for d.config.MarkUncertain != nil {
		select {
		case <-d.datesCertain:
		case <-ctx.Done():
			return nil
		}
		select {
		case <-time.After(2 * d.config.Commit): // a commit that was under way has ended then
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

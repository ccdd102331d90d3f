package recorder

import (
	"fmt"
	"time"

	"golang.org/x/time/rate"
)

// bounded limits the rate of events of one cause and counts the excess ones, so that a device
// or client that repeats itself does not fill the log or the store.
type bounded struct {
	limiter *rate.Limiter
	held    int // back since the last that was let through
}

// newBounded returns a limiter that allows burst events at once, and then one in each interval.
func newBounded(burst int, interval time.Duration) bounded {
	return bounded{limiter: rate.NewLimiter(rate.Every(interval), burst)}
}

// let reports whether an event at a moment since boot is allowed. more states how many were
// suppressed since the last; "" = none.
func (b *bounded) let(now time.Duration) (more string, ok bool) {
	if !b.limiter.AllowN(time.Unix(0, int64(now)), 1) {
		b.held++
		return "", false
	}
	if b.held > 0 {
		more = fmt.Sprintf(" (and %d more since the last mark)", b.held)
	}
	b.held = 0
	return more, true
}

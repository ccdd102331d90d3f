package recorder

import (
	"fmt"
	"time"

	"golang.org/x/time/rate"
)

// rateLimit limits the rate of events of one cause and counts the excess ones, so that a device
// or client that repeats itself does not fill the log or the store.
type rateLimit struct {
	limiter    *rate.Limiter
	suppressed int // events since the last allowed one
}

// newRateLimit returns a limiter that allows burst events at once, and then one in each interval.
func newRateLimit(burst int, interval time.Duration) rateLimit {
	return rateLimit{limiter: rate.NewLimiter(rate.Every(interval), burst)}
}

// allow reports whether an event at a time since boot is allowed. more is a text with the
// number of events suppressed since the last allowed one; "" = none.
func (b *rateLimit) allow(now time.Duration) (more string, ok bool) {
	if !b.limiter.AllowN(time.Unix(0, int64(now)), 1) {
		b.suppressed++
		return "", false
	}
	if b.suppressed > 0 {
		more = fmt.Sprintf(" (and %d more since the last mark)", b.suppressed)
	}
	b.suppressed = 0
	return more, true
}

package reading

import (
	"math"
	"time"
)

// latest is the last moment that counts as nanoseconds in 64 bits.
var latest = time.Unix(0, math.MaxInt64)

// Storable reports whether a time lies from 1970 up to April 2262, where it counts
// as nanoseconds in 64 bits.
func Storable(t time.Time) bool { return t.Unix() >= 0 && !t.After(latest) }

// InOffset returns the same moment with the same offset from UTC but without the name of a zone, as
// a file states it.
func InOffset(t time.Time) time.Time {
	_, offset := t.Zone()
	if offset == 0 {
		return t.UTC()
	}
	return t.In(time.FixedZone("", offset))
}

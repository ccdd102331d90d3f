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

// parseTime reads a time as in RFC 3339. The package time takes a little more
// than that: hours of one digit, a decimal comma, offsets of 24:60.
func parseTime(text string) (time.Time, bool) {
	t, err := time.Parse(time.RFC3339, text)
	if err != nil || text[len("2006-01-02T15")] != ':' || text[len("2006-01-02T15:04:05")] == ',' {
		return t, false
	}
	if n := len(text); text[n-1] != 'Z' {
		return t, text[n-len("00:00"):n-len(":00")] < "24" && text[n-len("00")] < '6'
	}
	return t, true
}

// InOffset returns the same moment at the same offset from UTC without the name
// of a zone, as a file states it.
func InOffset(t time.Time) time.Time {
	_, offset := t.Zone()
	if offset == 0 {
		return t.UTC()
	}
	return t.In(time.FixedZone("", offset))
}

package csv

import (
	"strings"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
)

func (c *checker) time(x *reading.Reading, text string) {
	var ok bool
	if x.Time, ok = c.moment(text); !ok {
		var wrong *fault.Fault
		if x.Time, wrong = c.dialect.time(text); wrong != nil {
			c.Complain(x.Row, "time", *wrong)
			return
		}
	}
	c.CheckTime(x)
}

// moment parses a time like parseTime, but shares the zones of rows.
func (c *checker) moment(text string) (time.Time, bool) {
	n := len(text) - len("+01:00")
	if n < 0 || text[len(text)-1] == 'Z' {
		return parseTime(text)
	}
	zone, ok := c.Zone(text[n:])
	if !ok {
		return time.Time{}, false
	}
	c.text = append(append(c.text[:0], text[:n]...), 'Z')
	t, ok := parseTime(string(c.text))
	_, offset := t.In(zone).Zone()
	return t.Add(-time.Duration(offset) * time.Second).In(zone), ok
}

// Zone returns the zone of an offset from UTC. The package time would name this machine's
// own where the offset happens to be the same.
func (c *checker) Zone(offset string) (*time.Location, bool) {
	if zone, known := c.zones[offset]; known {
		return zone, true
	}
	t, ok := parseTime("2000-01-01T00:00:00" + offset)
	if !ok {
		return time.UTC, false
	}
	zone := reading.InOffset(t).Location()
	c.zones[strings.Clone(offset)] = zone
	return zone, true
}

// CheckTime checks that a time can be stored.
func (c *checker) CheckTime(x *reading.Reading) {
	if !reading.Storable(x.Time) {
		c.Complain(x.Row, "time", fault.Fault{Text: x.Time.Format(time.RFC3339Nano) + " lies outside the years 1970 to 2262"})
	}
}

package csv

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/reading"
)

// dayOrder is a set of what the first field of a date such as 3/4/2026 can be; the empty
// set is that nothing is known.
type dayOrder uint8

const (
	dayFirst dayOrder = 1 << iota
	monthFirst
	neither
)

// intersect returns the orders that remain when another date of the file is known.
func (o dayOrder) intersect(other dayOrder) dayOrder {
	switch {
	case o == 0:
		return other
	case other == 0:
		return o
	case o&other == 0:
		return neither // two orders in one file
	}
	return o & other
}

// localTime is a date as spreadsheets write it, a time of day, and an offset from UTC.
var localTime = regexp.MustCompile(`^(\d{1,4})([./-])(\d{1,2})([./-])(\d{1,4})` +
	`(?:(?:T|, ?| +)(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9}))?)?(?: ?([AaPp])\.?[Mm]\.?)?(?: ?(Z|[+-]\d{2}:?\d{2}))?)?$`)

// writtenFields holds the fields of a time as written.
type writtenFields struct {
	year, a, b         int // a and b are day and month where dotted, month and day where the year is first
	order              dayOrder
	hour, minute       int
	second, nanosecond int
	offset             string
	bare               bool // without a time of day
	ambiguous          bool // the order of day and month is not known from the format
}

// writtenTime splits a time into its fields; ok is false if the text is not a time.
func writtenTime(text string) (w writtenFields, ok bool) {
	m := localTime.FindStringSubmatch(strings.TrimSpace(text))
	if m == nil || m[2] != m[4] {
		return w, false
	}
	number := func(s string) int { n, _ := strconv.Atoi(s); return n } // digits, or nothing
	first, last := number(m[1]), number(m[5])
	switch {
	case len(m[1]) == 4 && len(m[5]) <= 2:
		w.year, w.a, w.b, w.order = first, number(m[3]), last, monthFirst
	case len(m[1]) <= 2 && len(m[5]) == 4:
		w.year, w.a, w.b, w.ambiguous = last, first, number(m[3]), m[2] != "."
		switch {
		case !w.ambiguous || w.a > 12 || w.a == w.b:
			w.order = dayFirst
		case w.b > 12:
			w.order = monthFirst
		default:
			w.order = dayFirst | monthFirst
		}
	default:
		return w, false
	}
	w.hour, w.minute, w.second, w.offset, w.bare = number(m[6]), number(m[7]), number(m[8]), m[11], m[6] == ""
	w.nanosecond = number((m[9] + "000000000")[:9])
	if m[10] != "" {
		if w.hour < 1 || w.hour > 12 {
			return w, false
		}
		w.hour %= 12
		if strings.EqualFold(m[10], "p") {
			w.hour += 12
		}
	}
	return w, w.hour < 24 && w.minute < 60 && w.second < 60
}

// orderOf returns what a cell of the column time shows of the order of day and month: only
// dates with slashes or hyphens whose year comes last leave it open.
func orderOf(text string) dayOrder {
	w, ok := writtenTime(text)
	if !ok || !w.ambiguous || w.a == w.b {
		return 0
	}
	return w.order
}

// time parses a time as spreadsheets write it. Without an offset from UTC it is in the machine's
// zone. The fault explains a time that can be read in two ways.
func (d *dialect) time(text string) (time.Time, *fault.Fault) {
	if text == "" && d.undated {
		d.notes.add("no times: every line is dated " + d.date.Format("2006-01-02 15:04:05") + ", when the file was last written")
		return reading.InOffset(d.date), nil
	}
	w, ok := writtenTime(text)
	if !ok {
		return time.Time{}, &fault.Fault{Text: fmt.Sprintf("%q is not a time as in RFC 3339", text), Hint: "such as 2026-03-01T19:30:00+01:00"}
	}
	dates := w.order
	if dates == dayFirst|monthFirst {
		dates = d.dates
	}
	month, day := w.a, w.b
	switch dates {
	case dayFirst:
		month, day = w.b, w.a
	case monthFirst:
	default:
		return time.Time{}, &fault.Fault{Text: fmt.Sprintf("%s can be %d %s and %d %s", text, w.a, time.Month(w.b), w.b, time.Month(w.a)),
			Hint: fmt.Sprintf("write %04d-%02d-%02d or %04d-%02d-%02d", w.year, w.b, w.a, w.year, w.a, w.b)}
	}
	if w.ambiguous && w.a != w.b {
		d.notes.add(map[dayOrder]string{dayFirst: "dates with the day first", monthFirst: "dates with the month first"}[dates])
	}
	if w.bare {
		d.notes.add("dates without a time of day as 00:00")
	}
	return d.moment(w, month, day, text)
}

// moment returns the moment of a date and time of day.
func (d *dialect) moment(w writtenFields, month, day int, text string) (time.Time, *fault.Fault) {
	zone := d.zone
	if w.offset != "" {
		offset := w.offset
		if len(offset) == len("+0100") {
			offset = offset[:3] + ":" + offset[3:]
		}
		t, ok := parseTime("2000-01-01T00:00:00" + offset)
		if !ok {
			return t, &fault.Fault{Text: fmt.Sprintf("%q is not a time as in RFC 3339", text), Hint: "such as 2026-03-01T19:30:00+01:00"}
		}
		zone = reading.InOffset(t).Location()
	}
	t := time.Date(w.year, time.Month(month), day, w.hour, w.minute, w.second, w.nanosecond, zone)
	if t.Year() != w.year || int(t.Month()) != month || t.Day() != day {
		return t, &fault.Fault{Text: text + " is not a date of the calendar"}
	}
	if w.offset == "" {
		if t.Hour() != w.hour || t.Minute() != w.minute {
			return t, &fault.Fault{Text: fmt.Sprintf("%s does not exist in the zone %s: clocks go forward then", text, name(t)), Hint: "add the offset from UTC, such as +01:00"}
		}
		for _, by := range []time.Duration{-time.Hour, time.Hour} {
			if twin := t.Add(by); twin.Hour() == w.hour && twin.Minute() == w.minute {
				return t, &fault.Fault{Text: fmt.Sprintf("%s comes twice in the zone %s: clocks go back then", text, name(t)), Hint: "add the offset from UTC, such as +01:00"}
			}
		}
		d.notes.add("times without a zone as this machine's")
	}
	return reading.InOffset(t), nil
}

// name returns the name of a time's zone, such as CET.
func name(t time.Time) string {
	zone, _ := t.Zone()
	return zone
}

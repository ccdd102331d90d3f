package csv

import "time"

// parseTime parses a time as in RFC 3339. Package time also accepts hours of one digit, a
// decimal comma and offsets up to 24:60, which are refused here.
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

package run

import "time"

// Installation says of a run what no measurement can: for whom it was built, where, by whom and
// when. All of it may be empty.
type Installation struct {
	For       string // the owner, or the customer
	Place     string
	Installer string
	Date      time.Time // day, UTC; zero = not stated
}

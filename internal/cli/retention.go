package cli

import (
	"strconv"
	"strings"
	"time"

	"ohmkeep/internal/fault"
)

// keep is a retention time as a flag value: years of 365 days, weeks, days or hours.
type keep time.Duration

const day = 24 * time.Hour

// keepUnits are the units of a retention time.
var keepUnits = []struct {
	name string
	unit time.Duration
}{{"y", 365 * day}, {"w", 7 * day}, {"d", day}, {"h", time.Hour}}

// minKeep is the shortest time, so that readings before a change can still be compared.
const minKeep = 30 * day

// maxKeep is the longest time; longer ones could overflow time.Duration.
const maxKeep = 100 * 365 * day

// String returns the time in the largest unit that it is a whole number of.
func (k *keep) String() string {
	for _, u := range keepUnits {
		if d := time.Duration(*k); d > 0 && d%u.unit == 0 {
			return strconv.FormatInt(int64(d/u.unit), 10) + u.name
		}
	}
	return ""
}

// Type is how help names the value.
func (*keep) Type() string { return "duration" }

var noTime = fault.Fault{Text: "no time such as 2y, 18w, 400d or 8760h"}

// Set reads a time such as 2y, 18w, 400d or 8760h. Its error is a fault.Fault.
func (k *keep) Set(text string) error {
	for _, u := range keepUnits {
		number, ok := strings.CutSuffix(text, u.name)
		if !ok {
			continue
		}
		n, err := strconv.ParseFloat(number, 64)
		d := n * float64(u.unit)
		switch {
		case err != nil:
			return noTime
		case !(d >= float64(minKeep)):
			return fault.Fault{Text: "less than 30d would leave nothing to look back on"}
		case d > float64(maxKeep):
			return fault.Fault{Text: "more than 100y is for ever: leave --keep out"}
		}
		*k = keep(d)
		return nil
	}
	return noTime
}

package cli

import (
	"strconv"
	"strings"
	"time"

	"ohmkeep/internal/fault"
)

// retention is a retention time as a flag value: years of 365 days, weeks, days or hours.
type retention time.Duration

const day = 24 * time.Hour

// retentionUnits are the units of a retention time.
var retentionUnits = []struct {
	name string
	unit time.Duration
}{{"y", 365 * day}, {"w", 7 * day}, {"d", day}, {"h", time.Hour}}

// minRetention is the shortest time, so that readings before a change can still be compared.
const minRetention = 30 * day

// maxRetention is the longest time; longer ones could overflow time.Duration.
const maxRetention = 100 * 365 * day

// String returns the time in the largest unit that it is a whole number of.
func (k *retention) String() string {
	for _, u := range retentionUnits {
		if d := time.Duration(*k); d > 0 && d%u.unit == 0 {
			return strconv.FormatInt(int64(d/u.unit), 10) + u.name
		}
	}
	return ""
}

// Type is how help names the value.
func (*retention) Type() string { return "duration" }

var noTime = fault.Fault{Text: "no time such as 2y, 18w, 400d or 8760h"}

// Set reads a time such as 2y, 18w, 400d or 8760h. Its error is a fault.Fault.
func (k *retention) Set(text string) error {
	for _, u := range retentionUnits {
		number, ok := strings.CutSuffix(text, u.name)
		if !ok {
			continue
		}
		n, err := strconv.ParseFloat(number, 64)
		d := n * float64(u.unit)
		switch {
		case err != nil:
			return noTime
		case !(d >= float64(minRetention)):
			return fault.Fault{Text: "less than 30d would leave nothing to look back on"}
		case d > float64(maxRetention):
			return fault.Fault{Text: "more than 100y is for ever: leave --keep out"}
		}
		*k = retention(d)
		return nil
	}
	return noTime
}

package drift

import (
	"fmt"
	"math"
	"time"

	"ohmkeep/internal/result/history"
)

// horizon is the number of years ahead within which a date is given.
const horizon = 10

// forecast returns the range of dates within which an element reaches its limit.
func forecast(x *history.Series, drifting bool) {
	never := fmt.Sprintf("not within %d years", horizon)
	f := &x.Reaches
	switch {
	case math.IsNaN(x.Limit):
		f.Text = "it has no limit"
	case math.IsNaN(x.Ohms):
		f.Text = "unknown"
	case x.Low > x.Limit:
		f.Text = "it is over its limit"
		f.Earliest, f.Likely, f.Latest = crossed(x), crossed(x), crossed(x)
	case !drifting && x.High > x.Limit:
		f.Text = "unknown; the sensors are not accurate enough to tell on which side of it the value is"
	case math.IsInf(x.PerYearHigh, 1) || math.IsNaN(x.PerYear):
		f.Text = "unknown; too few nights"
	case drifting:
		f.Earliest = after(x.Last, x.Limit-x.High, x.PerYearHigh)
		f.Likely = after(x.Last, x.Limit-x.Ohms, x.PerYear)
		f.Latest = after(x.Last, x.Limit-x.Low, x.PerYearLow)
		switch {
		case f.Earliest.IsZero():
			f.Text = never
		case f.Likely.IsZero():
			f.Text = fmt.Sprintf("not before %s", f.Earliest.Format(time.DateOnly))
		case f.Latest.IsZero():
			f.Text = fmt.Sprintf("about %s, not before %s; no latest date is known",
				f.Likely.Format(time.DateOnly), f.Earliest.Format(time.DateOnly))
		default:
			f.Text = fmt.Sprintf("%s to %s, likely %s", f.Earliest.Format(time.DateOnly),
				f.Latest.Format(time.DateOnly), f.Likely.Format(time.DateOnly))
		}
	case after(x.Last, x.Limit-x.High, x.PerYearHigh).IsZero():
		f.Text = never
	default:
		f.Text = "unknown; no drift shows, but there are too few nights to rule one out for ten years"
	}
}

// after returns the date at which a gap in ohms is closed; zero where it is not within
// the horizon.
func after(last time.Time, gap, perYear float64) time.Time {
	if gap <= 0 {
		return last
	}
	if perYear <= 0 || gap/perYear > horizon {
		return time.Time{}
	}
	return last.Add(time.Duration(gap / perYear * year * 24 * float64(time.Hour))).Truncate(time.Second)
}

// crossed returns the first night after the last one at or below the limit. Outliers do not count.
func crossed(x *history.Series) time.Time {
	at := x.Last
	for i := len(x.Nights) - 1; i >= 0; i-- {
		n := x.Nights[i]
		if n.Ohms <= x.Limit && !n.Outlier {
			break
		}
		at = n.Time
	}
	return at
}

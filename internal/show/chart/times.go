package chart

import "time"

// times returns the beginnings of periods within a span of days, at most n of them (two where n is
// less): of minutes, hours, days, months or years, in a time zone.
func times(s span, n int, zone *time.Location) []tick {
	n = max(n, 2)
	begin := moment(s.min).In(zone)
	midnight := time.Date(begin.Year(), begin.Month(), begin.Day(), 0, 0, 0, 0, zone)
	for _, minutes := range []int{1, 2, 5, 10, 15, 30, 60, 2 * 60, 3 * 60, 6 * 60, 12 * 60} {
		step := time.Duration(minutes) * time.Minute
		if out, few := periods(s, n, step, func(i int) time.Time { return midnight.Add(time.Duration(i) * step) }, "15:04"); few {
			return out
		}
	}
	for _, days := range []int{1, 2, 7, 14} {
		if out, few := periods(s, n, time.Duration(days)*24*time.Hour, func(i int) time.Time { return midnight.AddDate(0, 0, i*days) }, "2 Jan"); few {
			return out
		}
	}
	for _, months := range []int{1, 2, 3, 6, 12, 24, 60, 120, 240, 600, 1200} {
		year, label := begin.Year(), "Jan 2006"
		if months >= 12 {
			year, label = year-year%(months/12), "2006"
		}
		january := time.Date(year, time.January, 1, 0, 0, 0, 0, zone)
		if out, few := periods(s, n, time.Duration(months)*30*24*time.Hour, func(i int) time.Time { return january.AddDate(0, i*months, 0) }, label); few {
			return out
		}
	}
	return nil
}

// periods returns the beginnings of periods that lie in a span, and whether they are at most n.
// begin counts from a moment at or before the span's; long is about how long a period is.
func periods(s span, n int, long time.Duration, begin func(i int) time.Time, label string) (out []tick, few bool) {
	if (s.max-s.min)*24 > float64(2*n+2)*long.Hours() {
		return nil, false
	}
	for i := 0; ; i++ {
		at := begin(i)
		if exact(at) > s.max {
			return out, len(out) <= n
		}
		if exact(at) < s.min {
			continue
		}
		text := at.Format(label)
		if label == "15:04" && at.Hour() == 0 && at.Minute() == 0 {
			text = at.Format("2 Jan")
		}
		out = append(out, tick{exact(at), text})
	}
}

// exact is day with the parts of a second.
func exact(t time.Time) float64 { return float64(t.UnixMilli()) / 86400e3 }

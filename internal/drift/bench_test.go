package drift

import (
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/months"
)

// BenchmarkNight is a night of a board after a short and after a long history.
func BenchmarkNight(b *testing.B) {
	r := runtest.Parse(b, gallery)
	for _, days := range []int{60, 720} {
		b.Run((time.Duration(days) * 24 * time.Hour).String(), func(b *testing.B) {
			story := usual(days)
			story.Every = 6 * time.Hour
			f := folded(b, r, story, 1)
			var list []reading.Reading
			dense := usual(1)
			dense.Every = 2 * time.Minute
			for day := range months.Days(r, dense, 1) {
				list = day
			}
			begin := f.State.Day + 1
			b.ReportMetric(float64(len(list)), "readings")
			for b.Loop() {
				if _, err := night(f, begin, list); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkYear is a year of a board that samples nine quantities every two minutes,
// all in one fold: 2.4 million readings.
func BenchmarkYear(b *testing.B) {
	r := runtest.Parse(b, gallery)
	dense := usual(3)
	dense.Every = 2 * time.Minute
	var days [][]reading.Reading
	for list := range months.Days(r, dense, 1) {
		days = append(days, list)
	}
	b.ReportAllocs()
	for b.Loop() {
		n := 0
		f, err := foldAll(r, func(yield func(reading.Reading, error) bool) {
			for day := range 365 {
				for _, x := range days[day%3] {
					x.Time = x.Time.AddDate(0, 0, day-day%3)
					n++
					if !yield(x, nil) {
						return
					}
				}
			}
		}, nil)
		if err != nil {
			b.Fatal(err)
		}
		f.State.History(r)
		b.ReportMetric(float64(n), "readings")
	}
}

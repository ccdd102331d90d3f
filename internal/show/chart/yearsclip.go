package chart

import (
	"math"
	"slices"
	"time"

	"ohmkeep/internal/result/history"
)

// clip leaves out what lies outside the time that is drawn, and cuts the trend at its ends.
func (y *years) clip() {
	outside := func(at time.Time) bool { return !y.x.holds(day(at)) }
	y.Nights = slices.DeleteFunc(slices.Clone(y.Nights), func(n history.Night) bool { return outside(n.Time) })
	y.Changes = slices.DeleteFunc(slices.Clone(y.Changes), func(c history.Change) bool { return outside(c.Time) })
	y.Marks = slices.DeleteFunc(slices.Clone(y.Marks), func(m history.Mark) bool { return outside(m.Time) })
	var within []history.Stretch
	for _, s := range y.Stretches {
		from, to := max(day(s.From), y.x.min), min(day(s.To), y.x.max)
		if from > to {
			continue
		}
		level := func(at float64) float64 {
			if long := day(s.To) - day(s.From); long > 0 {
				return s.Begin + (s.End-s.Begin)*(at-day(s.From))/long
			}
			return s.Begin
		}
		within = append(within, history.Stretch{From: moment(from), To: moment(to), Begin: level(from), End: level(to)})
	}
	y.Stretches = within
}

// moment is the time of a day; see day.
func moment(day float64) time.Time { return time.UnixMilli(int64(math.Round(day * 86400e3))).UTC() }

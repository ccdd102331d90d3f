package report

import (
	"io"
	"math"
	"time"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/wording"
)

// DriftJSON writes a history as one JSON object on one line. The error is the
// writer's.
func DriftJSON(w io.Writer, h *history.History) error {
	return write(w, "drift", object{
		{"schema", schema}, {"run", wording.RunName(h.Run)}, {"last", date(h.Last)}, {"last_check", date(h.Check)},
		{"series", list(h.Series, seriesJSON)},
	})
}

func seriesJSON(s history.Series) any {
	o := object{{"kind", s.Kind}, {"name", s.Name}, {"rail", s.Rail}, {"first", date(s.First)}, {"last", date(s.Last)},
		{"milliohms", milli(s.Ohms)}, {"low", milli(s.Low)}, {"high", milli(s.High)},
		{"milliohms_per_year", milli(s.PerYear)}, {"per_year_low", milli(s.PerYearLow)}, {"per_year_high", milli(s.PerYearHigh)},
		{"changes", list(s.Changes, func(c history.Change) any {
			return object{{"time", date(c.Time)}, {"shape", c.Shape}, {"before", milli(c.Before)}, {"after", milli(c.After)},
				{"called", date(c.Called)}}
		})},
		{"marks", list(s.Marks, func(m history.Mark) any {
			return object{{"time", date(m.Time)}, {"text", m.Text}, {"before", milli(m.Before)}, {"after", milli(m.After)}}
		})}}
	if !math.IsNaN(s.Limit) {
		o = append(o, member{"limit_milliohms", milli(s.Limit)})
	}
	o = append(o, member{"reaches_limit", object{{"earliest", date(s.Reaches.Earliest)}, {"likely", date(s.Reaches.Likely)},
		{"latest", date(s.Reaches.Latest)}, {"text", s.Reaches.Text}}},
		member{"verdict", s.Verdict}, member{"nights", len(s.Nights)}, member{"temperature", s.Warm})
	if s.Why != "" {
		o = append(o, member{"why", s.Why})
	}
	if s.Kind == run.KindReel {
		o = append(o, member{"covers", "all of its copper"})
	}
	return o
}

// date writes a moment as in RFC 3339; null for none.
func date(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.UTC().Format(time.RFC3339)
}

package drift

import (
	"math"
	"slices"

	"ohmkeep/internal/numeric/trend"
	"ohmkeep/internal/result/history"
)

// part is a stretch with its nights and its beginning computed from all of them.
type part struct {
	stretch
	piece
	level, end float64 // Ω at its beginning and its end
	onset      onset   // of the change that began it
}

// refined computes the date of each change again, from all nights on both sides.
func (t *track) refined() []part {
	var parts []part
	for i, s := range t.Stretch {
		end, on := t.end(i), onset{at: s.At}
		if n := len(parts); n > 0 && (s.Cause == jumped || s.Cause == ramped) {
			prior := &parts[n-1]
			if len(prior.points) >= nightsBefore {
				on = t.onset(prior, s, end)
				s.At = on.at
				prior.piece = t.piece(prior.At, s.At)
			}
		}
		parts = append(parts, part{stretch: s, piece: t.piece(s.At, end), onset: on})
	}
	for i := range parts {
		parts[i].levels()
	}
	// A part without nights gives no information. If all parts are without nights, no change is
	// known.
	parts = slices.DeleteFunc(parts, func(p part) bool { return len(p.points) == 0 })
	if len(parts) > 0 {
		return parts
	}
	return []part{{stretch: stretch{Cause: begun}, level: math.NaN(), end: math.NaN()}}
}

// end returns the moment at which a stretch ends.
func (t *track) end(i int) int64 {
	if i+1 < len(t.Stretch) {
		return t.Stretch[i+1].At
	}
	return forever
}

// levels computes the levels at the beginning and the end of a part.
func (p *part) levels() {
	n := len(p.points)
	if n == 0 {
		p.level, p.end = math.NaN(), math.NaN()
		return
	}
	if p.Sloped && n >= 3 {
		line := trend.LeastSquares(p.x, p.y, p.w)
		p.level, p.end = line.At(p.x[0]), line.At(p.x[n-1])
		return
	}
	p.level, p.end = trend.Midmean(p.y), trend.Midmean(p.y)
}

// changes lists the changes reported for a series.
func (t *track) changes(x *history.Series, parts []part, a anchored) {
	for i, p := range parts {
		var was *part
		if i > 0 {
			was = &parts[i-1]
		}
		switch p.Cause {
		case jumped, ramped:
			c := history.Change{Time: moment(p.At), Earliest: moment(p.onset.earliest), Latest: moment(p.onset.latest),
				Detected: moment(p.Called), Shape: history.Jump, After: p.level + a.by}
			if p.Cause == ramped {
				c.Shape, c.After = history.Ramp, p.end+a.by
				for k := i + 1; k < len(parts) && parts[k].Cause == levelled; k++ {
					c.After = parts[k].end + a.by
				}
			}
			c.Before = p.level + a.by
			if was != nil {
				c.Before = was.end + a.by
			}
			x.Changes = append(x.Changes, c)
		case replaced, noted, shifted:
			m := history.Mark{Time: moment(p.At), Text: p.Text, Before: math.NaN(), After: p.level + a.by}
			if was != nil {
				m.Before = was.end + a.by
				if a.positive && p.Cause == replaced {
					m.Before = math.Max(m.Before, 0) // as other sensors had it
				}
			}
			x.Marks = append(x.Marks, m)
		}
	}
	for _, b := range t.Bursts {
		k := len(parts) - 1
		for k > 0 && parts[k].At > b.At {
			k--
		}
		level := parts[k].level + a.by
		x.Changes = append(x.Changes, history.Change{Time: moment(b.At), Detected: moment(b.Called), Shape: history.Burst,
			Before: level, After: level + float64(b.Rise)})
	}
	slices.SortStableFunc(x.Changes, func(a, b history.Change) int { return a.Time.Compare(b.Time) })
}

package chart

import (
	"fmt"
	"math"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// spot is a reading at its place in a picture of volts.
type spot struct {
	kind    int
	reel    int
	pixel   int
	step    int     // index of its course, -1 where it has none
	value   float64 // V
	reach   float64 // V, what its meter may be off by at most; 0 = not known
	row     int
	suspect bool
}

// spotsOf returns the readings that have a place along the run. A reading of a
// pair belongs to one pixel. One against the first supply's minus terminal is a
// potential. One between two places on the same conductor is shown at the
// second, as far from the fitted potential of the first as was measured. The
// rest (terminals, splices, across the run) has no one place.
func spotsOf(r *run.Run, courses []course, readings []assessment.Reading) []spot {
	var out []spot
	for _, m := range readings {
		if m.Quantity != run.Voltage || !drawable(m.Value) {
			continue
		}
		from, err1 := r.Point(m.From)
		to, err2 := r.Point(m.To)
		if err1 != nil || err2 != nil {
			continue
		}
		s := spot{step: -1, row: m.Row, suspect: m.Suspect, reach: accuracy(r, m)}
		for i, c := range courses {
			if c.step == m.Step && m.Step != "" {
				s.step = i
			}
		}
		if s.find(from, to, m.Value, courses) {
			out = append(out, s)
		}
	}
	return out
}

// find sets the position of a reading and reports whether it has one.
func (s *spot) find(from, to run.Point, value float64, courses []course) bool {
	zero := run.Point{Place: run.Place{Kind: run.AtSupply}, Rail: run.Minus}
	set := func(at run.Point, v float64) bool {
		s.kind, s.reel, s.pixel, s.value = inPlus+int(at.Rail), at.Index, at.Pixel, v
		return at.Kind == run.AtReel && drawable(v)
	}
	switch {
	case from.Place == to.Place && from.Rail != to.Rail && from.Kind == run.AtReel:
		if from.Rail == run.Minus {
			value = -value
		}
		set(from, value)
		s.kind = inPair
		return true
	case to == zero:
		return set(from, value)
	case from == zero:
		return set(to, -value)
	case from.Rail == to.Rail && s.step >= 0:
		if v, ok := courses[s.step].potential(from); ok {
			return set(to, v-value)
		}
	}
	return false
}

// accuracy returns the error limit of the meter of a reading, V; 0 if unknown.
func accuracy(r *run.Run, m assessment.Reading) float64 {
	i := r.MeterIndex(m.Meter)
	if i < 0 {
		return 0
	}
	k := r.Meters[i].ShownRange(m.Quantity, m.Value, m.LastDigit())
	if k < 0 {
		return 0
	}
	g := r.Meters[i].Ranges[k]
	off := g.Fraction*math.Abs(m.Value) + g.Counts*g.Resolution
	if !drawable(off) {
		return 0
	}
	return off
}

// drawSpots draws the readings of one panel: a dot with whiskers for the meter's error limit, or
// for a suspect reading a struck square with its line number.
func (v *volts) drawSpots(p pen, f frame, kind int) {
	for _, s := range v.spots {
		if s.kind != kind {
			continue
		}
		c := stepInk(s.step).stroke
		at := f.at(v.tracks[s.reel].at(s.pixel), s.value)
		if s.reach > 0 && f.y.holds(s.value) {
			low, high := f.at(0, s.value-s.reach), f.at(0, s.value+s.reach)
			whisker := ink{stroke: c, width: 1.25}
			p.line(whisker, point{at.x, low.y}, point{at.x, high.y})
			p.line(whisker, point{at.x - 3, low.y}, point{at.x + 3, low.y})
			p.line(whisker, point{at.x - 3, high.y}, point{at.x + 3, high.y})
		}
		if !s.suspect {
			p.dot(ink{fill: c, stroke: paper, width: 1}, at, 4)
			continue
		}
		at.y = min(f.bottom-9, max(f.top+9, at.y))
		suspectMark(p, at)
		label := fmt.Sprintf("line %d", s.row)
		if !f.y.holds(s.value) {
			label += fmt.Sprintf(": %.3g V", s.value)
		}
		beside(p, f, at, label)
	}
}

// suspectMark is a hollow square struck through.
func suspectMark(p pen, at point) {
	with := ink{stroke: faulty, fill: paper, width: 1.75}
	p.box(with, at.x-5, at.y-5, at.x+5, at.y+5)
	p.line(with, point{at.x - 8, at.y + 8}, point{at.x + 8, at.y - 8})
}

// beside writes a label next to a mark, on the side where there is room.
func beside(p pen, f frame, at point, label string) {
	width := p.measure(label, small)
	x, y := at.x+11, min(f.bottom-4, max(f.top+11, at.y+4))
	if x+width > f.right {
		x = at.x - 11 - width
	}
	p.box(ink{fill: pale(paper, 210)}, x-2, y-10, x+width+2, y+4)
	p.text(label, point{x, y}, small, faulty, left)
}

package chart

import (
	"fmt"
	"math"
	"slices"
	"time"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/show/wording"
)

// yearsHeight is that of the frame, px.
const yearsHeight = 210

// Years draws the history of one element: its resistance night by night at 20 °C, the trend with
// its 95 % band, the changes, the limit, and the forecast of a drift. width is in pixels.
func Years(s history.Series, width int) *Picture {
	y := newYears(s, width)
	y.x = y.span()
	return y.picture()
}

// YearsBetween is Years for the time from one moment to a later one, with the forecast as far as it
// lies within.
func YearsBetween(s history.Series, from, to time.Time, width int) *Picture {
	y := newYears(s, width)
	y.x = span{day(from), day(to)}
	if !(y.x.max > y.x.min) {
		y.x.max = y.x.min + 1
	}
	y.clip()
	return y.picture()
}

func newYears(s history.Series, width int) *years {
	y := &years{Series: s, width: float64(width), x: span{0, 1}, title: fmt.Sprintf("%s %s: %s", s.Kind, s.Name, wording.VerdictWord(s.Verdict))}
	if n := len(s.Nights); n > 0 {
		y.record = (day(s.Nights[n-1].Time) - day(s.Nights[0].Time)) / 365.25
	}
	return y
}

type years struct {
	history.Series
	title  string
	width  float64
	x      span    // time that is drawn
	record float64 // how long the nights reach back, years
}

// day is the time axis.
func day(t time.Time) float64 { return float64(t.Unix()) / 86400 }

func (y *years) picture() *Picture {
	legend := y.legend()
	top := 30 + legend.height(y.width) + 34
	n := panel{heading: "mΩ loop at 20 °C", top: top, height: yearsHeight, left: 56, right: y.width - 14, above: 30, below: 30,
		pictureExtent: y.width, x: y.x, y: y.reach()}
	n.yTicks, n.xTicks = n.y.ticks(6), times(n.x, int(y.width/90), time.UTC)
	if len(y.Nights) == 0 {
		n.xTicks, n.yTicks = nil, nil
		n.layers = append(n.layers, func(p pen, f frame) {
			p.text("nothing is known here", point{(f.left + f.right) / 2, (f.top + f.bottom) / 2}, body, faint, centre)
		})
	}
	n.layers = append(n.layers, y.drawBand, y.drawFan, y.drawNights, y.drawCourse, y.drawChanges, y.drawLimit)
	return &Picture{title: y.title, width: y.width, height: top + yearsHeight + n.below, draw: func(p pen) error {
		p.text(p.fit(y.title, large, y.width-28), point{14, 23}, large, text, left)
		legend.draw(p, 30, y.width)
		return n.draw(p)
	}}
}

// ahead is the length of the extrapolation of a drift, as a part of the record.
const ahead = 0.4

func (y *years) span() span {
	if len(y.Nights) == 0 {
		return span{0, 1}
	}
	from, to := day(y.Nights[0].Time), day(y.Nights[len(y.Nights)-1].Time)
	long := math.Max(to-from, 1)
	if y.fans() {
		to += ahead * long
	}
	return span{from - 0.02*long, to + 0.02*long}
}

// fans reports whether a drift is extrapolated.
func (y *years) fans() bool {
	return y.Verdict == history.Drifting && drawable(y.PerYearLow) && drawable(y.PerYearHigh) && drawable(y.Ohms)
}

// reach returns the range of the resistances; single outliers are drawn at the edge.
func (y *years) reach() span {
	var e extent
	for _, c := range y.Stretches {
		e.add(1e3*c.Begin, 1e3*c.End)
	}
	for _, n := range y.Nights {
		if !n.Outlier {
			e.add(1e3 * n.Ohms)
		}
	}
	if drawable(y.Low) && drawable(y.High) && y.High-y.Low < 0.2 {
		e.add(1e3*y.Low, 1e3*y.High)
	}
	if drawable(y.Limit) && (y.Verdict != history.Steady || 1e3*y.Limit < 2*e.max+10) {
		e.add(1e3 * y.Limit)
	}
	if end := math.Min(y.x.max, day(y.Last)+ahead*y.record*365.25); y.fans() && end > day(y.Last) {
		e.add(1e3 * (y.Ohms + y.PerYear*(end-day(y.Last))/365.25))
	}
	got := e.padded(0.08, 4, span{0, 1})
	if got.min < 0 && e.min >= 0 {
		got.min = 0
	}
	return got
}

var nightInk = ink{fill: pale(sound, 110)}

func (y *years) drawNights(p pen, f frame) {
	column := math.Inf(-1)
	for _, n := range y.Nights {
		if !drawable(n.Ohms) {
			continue
		}
		at := f.at(day(n.Time), 1e3*n.Ohms)
		if n.Outlier {
			p.dot(ink{fill: paper, stroke: faulty, width: 1.25}, at, 2.5)
			continue
		}
		if at.x-column < 0.5 { // at most two dots a pixel: ten years have more nights than can be seen
			continue
		}
		column = at.x
		p.dot(nightInk, at, 1.8)
	}
}

// drawBand draws the 95 % interval of the level.
func (y *years) drawBand(p pen, f frame) {
	if !drawable(y.Low) || !drawable(y.High) || !drawable(y.Ohms) {
		return
	}
	for _, c := range y.Stretches {
		a, b := day(c.From), day(c.To)
		p.area(ink{fill: pale(sound, 32)},
			f.at(a, 1e3*math.Max(0, c.Begin-(y.Ohms-y.Low))), f.at(b, 1e3*math.Max(0, c.End-(y.Ohms-y.Low))),
			f.at(b, 1e3*(c.End+(y.High-y.Ohms))), f.at(a, 1e3*(c.Begin+(y.High-y.Ohms))))
	}
}

func (y *years) drawCourse(p pen, f frame) {
	for _, c := range y.Stretches {
		p.line(ink{stroke: text, width: 1.75}, f.at(day(c.From), 1e3*c.Begin), f.at(day(c.To), 1e3*c.End))
	}
}

// drawFan draws the extrapolation of a drift within the frame.
func (y *years) drawFan(p pen, f frame) {
	if !y.fans() {
		return
	}
	from := day(y.Last)
	to := math.Min(f.x.max, from+ahead*y.record*365.25)
	if to <= from || from < f.x.min {
		return // the forecast lies outside the time that is drawn
	}
	long := (to - from) / 365.25
	at := func(level, perYear float64) point { return f.at(to, 1e3*(level+perYear*long)) }
	p.area(ink{fill: pale(unknown, 45)}, f.at(from, 1e3*y.Low), at(y.Low, y.PerYearLow), at(y.High, y.PerYearHigh), f.at(from, 1e3*y.High))
	p.line(ink{stroke: unknown, width: 1.75, dash: []float64{6, 3}}, f.at(from, 1e3*y.Ohms), at(y.Ohms, y.PerYear))
}

func (y *years) drawLimit(p pen, f frame) {
	if !drawable(y.Limit) || !f.y.holds(1e3*y.Limit) {
		return
	}
	at := f.py(1e3 * y.Limit)
	p.line(ink{stroke: faulty, width: 1.5, dash: []float64{9, 4}}, point{f.left, at}, point{f.right, at})
	p.text(fmt.Sprintf("limit %.3g", 1e3*y.Limit), point{f.right - 4, at - 5}, small, faulty, right)
}

// drawChanges marks changes and the starts of stretches, with text where there is room.
func (y *years) drawChanges(p pen, f frame) {
	var lines [2][]span // that are taken, px
	mark := func(at time.Time, word string, i ink) {
		x := f.px(day(at))
		p.line(i, point{x, f.top}, point{x, f.bottom})
		wide := p.measure(word, small) + 8
		place := x + 4
		if x+wide > f.right {
			place = x - wide
		}
		for n := range lines {
			if place < f.left || slices.ContainsFunc(lines[n], func(t span) bool { return place < t.max && t.min < place+wide }) {
				continue
			}
			y := f.top + 12 + 14*float64(n)
			if n > 0 { // the first line is above what is drawn in most pictures
				p.box(ink{fill: pale(paper, 210)}, place-2, y-10, place+wide-6, y+3)
			}
			p.text(word, point{place, y}, small, i.stroke, left)
			lines[n] = append(lines[n], span{place, place + wide})
			return
		}
	}
	for _, c := range y.Changes {
		mark(c.Time, wording.ChangeWord(c.Shape)+" "+c.Time.Format("2 Jan"), ink{stroke: faulty, width: 1.25})
	}
	for _, m := range y.Marks {
		mark(m.Time, p.fit(m.Text, small, 150), ink{stroke: faint, width: 1, dash: []float64{2, 3}})
	}
}

func (y *years) legend() legend {
	l := legend{
		{"one night", func(p pen, at point) { p.dot(ink{fill: sound}, at, 3) }},
		{"trend", func(p pen, at point) {
			p.line(ink{stroke: text, width: 1.75}, point{at.x - 11, at.y}, point{at.x + 11, at.y})
		}},
		{"95 % band", func(p pen, at point) { p.box(ink{fill: pale(sound, 50)}, at.x-11, at.y-6, at.x+11, at.y+6) }},
	}
	for _, n := range y.Nights {
		if n.Outlier {
			l = append(l, entry{"contradicts its neighbours", func(p pen, at point) {
				p.dot(ink{fill: paper, stroke: faulty, width: 1.25}, at, 3)
			}})
			break
		}
	}
	if y.fans() {
		l = append(l, entry{"where it is heading", func(p pen, at point) {
			p.box(ink{fill: pale(unknown, 60)}, at.x-11, at.y-6, at.x+11, at.y+6)
			p.line(ink{stroke: unknown, width: 1.75, dash: []float64{6, 3}}, point{at.x - 11, at.y}, point{at.x + 11, at.y})
		}})
	}
	return l
}

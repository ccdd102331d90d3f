package chart

import "github.com/wcharczuk/go-chart/v2"

// legend lists signs with their meaning, in as many lines as needed.
type legend []entry

type entry struct {
	text string
	sign func(p pen, at point) // in 22 × 12 px round a point
}

const legendLine = 19.0

func (v *volts) legend() legend {
	var l legend
	for i, c := range v.courses {
		name := c.step
		if name == "" {
			name = "(step not known)"
		}
		l = append(l, entry{name, func(p pen, at point) {
			p.line(stepInk(i), point{at.x - 11, at.y}, point{at.x + 11, at.y})
		}})
	}
	banded, suspects := false, false
	for _, c := range v.courses {
		for _, r := range c.reels {
			banded = banded || r.band != nil
		}
	}
	for _, s := range v.spots {
		suspects = suspects || s.suspect
	}
	if banded {
		l = append(l, entry{"95 % band", func(p pen, at point) {
			p.box(ink{fill: pale(stepInk(0).stroke, 50)}, at.x-11, at.y-6, at.x+11, at.y+6)
		}})
	}
	if len(v.spots) > 0 {
		l = append(l, entry{"reading ± its meter's accuracy", func(p pen, at point) {
			p.line(ink{stroke: faint, width: 1.25}, point{at.x, at.y - 7}, point{at.x, at.y + 7})
			p.dot(ink{fill: faint, stroke: paper, width: 1}, at, 4)
		}})
	}
	if suspects {
		l = append(l, entry{"contradicts the others", suspectMark})
	}
	return l
}

// each calls do for every entry with the position of its sign; it returns the number of lines.
func (l legend) each(width float64, do func(e entry, name string, at point)) int {
	font, err := chart.GetDefaultFont()
	if err != nil {
		return 0
	}
	on := pen{font: font}
	x, line := 14.0, 0
	for _, e := range l {
		name := on.fit(e.text, small, width-60)
		wide := 22 + 6 + on.measure(name, small) + 18
		if x > 14 && x+wide-18 > width-10 {
			x, line = 14, line+1
		}
		do(e, name, point{x + 11, float64(line)*legendLine + legendLine/2 + 3})
		x += wide
	}
	return line + 1
}

func (l legend) height(width float64) float64 {
	if len(l) == 0 {
		return 0
	}
	return float64(l.each(width, func(entry, string, point) {}))*legendLine + 4
}

func (l legend) draw(p pen, top, width float64) {
	l.each(width, func(e entry, name string, at point) {
		at.y += top
		e.sign(p, at)
		p.text(name, point{at.x + 17, at.y + 4}, small, text, left)
	})
}

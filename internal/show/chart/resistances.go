package chart

import (
	"math"

	"github.com/wcharczuk/go-chart/v2"
	"github.com/wcharczuk/go-chart/v2/drawing"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/number"
)

// Resistances draws every element's resistance with its 95 % interval against
// its limit, one row an element, in the order given. width is in pixels.
func Resistances(elements []assessment.Element, width int) *Picture {
	b := bars{rows: newRows(len(elements), body, float64(width))}
	b.elements = elements[:b.count]
	b.axis()
	names, values := b.widths()
	b.columns(14+names+18, b.width-values-32)
	return b.picture()
}

type bars struct {
	rows
	elements []assessment.Element
	log      bool
	x        span // mΩ, or its decimal logarithm
	ticks    []tick
}

// milli returns the place of a resistance on the axis.
func (b bars) milli(ohms float64) float64 {
	if b.log {
		return math.Log10(max(ohms*1000, 1e-9))
	}
	return ohms * 1000
}

// axis chooses the range, and a logarithmic axis where a small resistance would be invisible beside
// a large one. Estimates and limits decide; the end of an interval that reaches much further is cut
// off and drawn as an arrow.
func (b *bars) axis() {
	var core, ends extent
	for _, e := range b.elements {
		for _, v := range []float64{e.Ohms, e.Limit} {
			if v > 0 && !math.IsInf(v, 0) && !e.Open() {
				core.add(v)
			}
		}
		if e.Low > 0 {
			ends.add(e.Low)
		}
		if e.Open() && e.Low > 0 && e.Low < maxDrawable {
			core.add(e.Low, 2*e.Low) // room for the arrow
		}
		if e.High > 0 && e.High < maxDrawable {
			ends.add(e.High)
		}
	}
	if !core.any {
		core = ends
	}
	if !core.any {
		core.add(0.001, 0.01)
	}
	low, high := core.min, core.max
	if ends.any {
		low = min(low, max(ends.min, core.min/4))
		high = max(high, min(ends.max, core.max*4))
	}
	wanted := int(b.width / 90)
	if b.log = high > 15*low; b.log {
		from, to := math.Log10(low*1000), math.Log10(high*1000)
		room := (to - from) * 0.04
		b.x = span{from - room, to + 2*room}
		b.ticks = b.x.logTicks()
		return
	}
	b.x = span{0, high * 1000 * 1.08}
	b.ticks = b.x.ticks(wanted)
}

func (b bars) picture() *Picture {
	axis := "mΩ at 20 °C (reels: mΩ a metre)"
	if b.log {
		axis += ", logarithmic scale"
	}
	n := b.panel(b.x, b.ticks, axis)
	if len(b.elements) == 0 {
		n.layers = append(n.layers, func(p pen, f frame) {
			p.text("no resistance is known", point{(f.left + f.right) / 2, f.top + b.height/2 + 4}, body, faint, centre)
		})
	}
	for i, e := range b.elements {
		n.layers = append(n.layers, func(p pen, f frame) { b.element(p, f, i, e) })
	}
	return b.rows.picture("Resistances against their limits", b.legend(), n)
}

// widths returns the widths of the names and the values.
func (b bars) widths() (names, values float64) {
	font, err := chart.GetDefaultFont()
	if err != nil {
		return 200, 180
	}
	names, values = 80, 80
	for _, e := range b.elements {
		names = max(names, min(220, measure(font, wording.Label(e), body)))
		values = max(values, measure(font, statement(e), body))
	}
	return names, values
}

// statement is the verdict and the value.
func statement(e assessment.Element) string {
	if e.Verdict == assessment.None {
		return value(e)
	}
	return string(e.Verdict) + ": " + value(e)
}

func (b bars) legend() legend {
	mark := func(v assessment.Verdict) func(pen, point) {
		return func(p pen, at point) { verdictMark(p, v, at) }
	}
	l := legend{{"pass", mark(assessment.Pass)}, {"fail", mark(assessment.Fail)}, {"unproven", mark(assessment.Unproven)}}
	return append(l,
		entry{"95 % interval", func(p pen, at point) { interval(p, at.x-10, at.x+10, at.y, ink{stroke: faint, width: 2}, 0) }},
		entry{"limit; too much from here", func(p pen, at point) {
			p.box(ink{fill: pale(faulty, 28)}, at.x, at.y-7, at.x+10, at.y+7)
			p.line(ink{stroke: text, width: 2}, point{at.x, at.y - 7}, point{at.x, at.y + 7})
		}})
}

// element draws row i: name, verdict and value, limit, bar.
func (b bars) element(p pen, f frame, i int, e assessment.Element) {
	c := verdictColour(e.Verdict)
	mid := b.row(p, f, i, wording.Label(e), statement(e), c)
	if e.Limit > 0 && drawable(e.Limit) {
		x := f.px(b.milli(e.Limit))
		p.box(ink{fill: pale(faulty, 28)}, x, mid-10, f.right, mid+10)
		p.line(ink{stroke: text, width: 2}, point{x, mid - 10}, point{x, mid + 10})
	}
	b.bar(p, f, mid, e, c)
}

// bar draws interval and estimate. An end beyond the frame becomes an arrow.
func (b bars) bar(p pen, f frame, y float64, e assessment.Element, c drawing.Color) {
	if math.IsNaN(e.Ohms) {
		return
	}
	low, high := e.Low, e.High
	if math.IsNaN(low) {
		low = e.Ohms
	}
	if math.IsNaN(high) {
		high = e.Ohms
	}
	if e.Open() {
		high = math.Inf(1)
	}
	with := ink{stroke: c, width: 2.5}
	if !e.Known {
		with.dash = []float64{4, 3}
	}
	arrows := 0
	if low < high && b.milli(low) < b.x.min-1e-9 {
		arrows |= arrowLeft
	}
	if high > maxDrawable || b.milli(high) > b.x.max {
		arrows |= arrowRight
	}
	interval(p, f.px(b.milli(low)), f.px(b.milli(min(high, maxDrawable))), y, with, arrows)
	if !e.Open() {
		verdictMark(p, e.Verdict, point{f.px(b.milli(e.Ohms)), y})
	} else {
		verdictMark(p, e.Verdict, point{f.right - 22, y})
	}
}

const (
	arrowLeft = 1 << iota
	arrowRight
)

// interval draws a bar from x0 to x1 with end strokes or arrow heads.
func interval(p pen, x0, x1, y float64, with ink, arrows int) {
	p.line(with, point{x0, y}, point{x1, y})
	end := ink{stroke: with.stroke, width: with.width}
	head := ink{fill: with.stroke}
	if arrows&arrowLeft != 0 {
		p.area(head, point{x0 - 3, y}, point{x0 + 8, y - 5}, point{x0 + 8, y + 5})
	} else {
		p.line(end, point{x0, y - 5}, point{x0, y + 5})
	}
	if arrows&arrowRight != 0 {
		p.area(head, point{x1 + 3, y}, point{x1 - 8, y - 5}, point{x1 - 8, y + 5})
	} else {
		p.line(end, point{x1, y - 5}, point{x1, y + 5})
	}
}

// value returns a resistance in words.
func value(e assessment.Element) string {
	unit := " mΩ"
	if e.Kind == run.KindReel {
		unit = " mΩ/m"
	}
	switch {
	case e.Open() && e.Low > 0 && e.Low < maxDrawable:
		return "open, over " + number.Milliohms(e.Low) + unit
	case e.Open():
		return "open"
	case !e.Known:
		return "assumed " + number.Milliohms(e.Ohms) + unit
	}
	return number.Milliohms(e.Ohms) + unit
}

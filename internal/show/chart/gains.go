package chart

import (
	"fmt"
	"math"

	"github.com/wcharczuk/go-chart/v2"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/text/printable"
)

// Gain is one row of Gains: what something comes to.
type Gain struct {
	Label            string
	Value, Low, High float64 // Low and High equal: no interval is known
	Verdict          assessment.Verdict
}

// Gains draws one bar a row against what is needed, the first row being what there
// is now: from its end on, a bar shows what is won. axis names the values with their
// unit. width is in pixels.
func Gains(title, axis, needed string, needs float64, rows []Gain, width int) *Picture {
	g := gains{rows: rows, needs: needs, needed: needed, width: float64(width), beside: width >= 600}
	if left := len(rows) - mostElements; left > 0 {
		g.rows, g.left = rows[:mostElements], left
	}
	return g.picture(title, axis)
}

type gains struct {
	rows   []Gain
	left   int // rows without a bar
	needs  float64
	needed string
	width  float64
	beside bool
}

func (g gains) picture(title, axis string) *Picture {
	rowHeight, from, to := 30.0, 14+g.names()+14, g.width-118
	if !g.beside {
		rowHeight, from, to = 52, 16, g.width-24
	}
	most := 1e-9
	for _, r := range g.rows {
		for _, v := range []float64{r.Value, min(r.High, 3*r.Value), g.needs} {
			if drawable(v) {
				most = max(most, v)
			}
		}
	}
	x := span{0, most * 1.06}
	n := panel{top: 74, height: rowHeight * float64(max(1, len(g.rows))), left: from, right: to, pictureExtent: g.width,
		x: x, y: span{0, 1}, xTicks: x.ticks(int((to - from) / 80)), gridX: true, above: 4, below: 62, xTitle: axis}
	for i, r := range g.rows {
		n.layers = append(n.layers, func(p pen, f frame) { g.row(p, f, f.top+float64(i)*rowHeight, rowHeight, r, i) })
	}
	n.layers = append(n.layers, func(p pen, f frame) {
		if g.needs > 0 && drawable(g.needs) {
			p.line(ink{stroke: text, width: 2, dash: []float64{6, 3}}, point{f.px(g.needs), f.top}, point{f.px(g.needs), f.bottom})
		}
	})
	key := g.legend()
	n.top += key.height(g.width) - legendLine
	return &Picture{title: title, width: g.width, height: n.top + n.height + n.below, draw: func(p pen) error {
		p.text(p.fit(title, large, g.width-28), point{14, 23}, large, text, left)
		key.draw(p, 32, g.width)
		if g.left > 0 {
			p.text(fmt.Sprintf("and %d more, in the table", g.left), point{14, n.top + n.height + n.below - 8}, small, text, left)
		}
		return n.draw(p)
	}}
}

// names is the width that the labels get.
func (g gains) names() float64 {
	font, err := chart.GetDefaultFont()
	if err != nil {
		return 200
	}
	wide := 80.0
	for _, r := range g.rows {
		wide = max(wide, min(g.width*0.46, measure(font, printable.Short(r.Label, 80), small)))
	}
	return wide
}

func (g gains) legend() legend {
	l := legend{
		{"as wired", func(p pen, at point) { p.box(ink{fill: guide}, at.x-10, at.y-5, at.x+10, at.y+5) }},
		{"won", func(p pen, at point) { p.box(ink{fill: pale(sound, 150)}, at.x-10, at.y-5, at.x+10, at.y+5) }},
	}
	for _, v := range []assessment.Verdict{assessment.Pass, assessment.Fail, assessment.Unproven} {
		word := map[assessment.Verdict]string{assessment.Pass: "meets every limit", assessment.Fail: "breaks one", assessment.Unproven: "unproven"}[v]
		l = append(l, entry{word, func(p pen, at point) { verdictMark(p, v, at) }})
	}
	for _, r := range g.rows {
		if r.Low < r.High {
			l = append(l, entry{"95 % interval", func(p pen, at point) { interval(p, at.x-10, at.x+10, at.y, ink{stroke: faint, width: 2}, 0) }})
			break
		}
	}
	return append(l, entry{g.needed, func(p pen, at point) {
		p.line(ink{stroke: text, width: 2, dash: []float64{3, 2}}, point{at.x, at.y - 7}, point{at.x, at.y + 7})
	}})
}

func (g gains) row(p pen, f frame, top, height float64, r Gain, i int) {
	if i%2 == 1 {
		p.box(ink{fill: pale(strip, 110)}, 4, top, g.width-4, top+height)
	}
	mid, said := top+height/2, "?"
	if drawable(r.Value) {
		said = fmt.Sprintf("%.2f", r.Value)
		if r.Verdict != assessment.None {
			said += " " + string(r.Verdict)
		}
	}
	c := verdictColour(r.Verdict)
	if g.beside {
		p.text(p.fit(printable.Short(r.Label, 80), small, f.left-24), point{14, mid + 4}, small, text, left)
		p.text(said, point{f.right + 14, mid + 4}, small, c, left)
	} else {
		p.text(said, point{g.width - 14, top + 17}, small, c, right)
		p.text(p.fit(printable.Short(r.Label, 80), small, g.width-44-p.measure(said, small)), point{14, top + 17}, small, text, left)
		mid = top + 36
	}
	if !drawable(r.Value) {
		return
	}
	now := g.rows[0].Value
	p.box(ink{fill: guide}, f.left, mid-8, f.px(math.Min(now, r.Value)), mid+8)
	if r.Value > now {
		p.box(ink{fill: pale(sound, 150)}, f.px(now), mid-8, f.px(r.Value), mid+8)
	}
	if r.Low < r.High && drawable(r.Low) {
		arrows := 0
		if r.High > f.x.max {
			arrows = arrowRight
		}
		interval(p, f.px(r.Low), f.px(min(r.High, absurd)), mid, ink{stroke: text, width: 1.5}, arrows)
	}
	verdictMark(p, r.Verdict, point{f.px(r.Value), mid})
}

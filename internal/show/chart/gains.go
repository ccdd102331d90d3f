package chart

import (
	"fmt"
	"math"

	"github.com/wcharczuk/go-chart/v2"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/text/printable"
)

// Gain is one bar of Gains: a value and its interval.
type Gain struct {
	Label            string
	Value, Low, High float64 // Low and High equal: no interval is known
	Verdict          assessment.Verdict
}

// Gains draws bars below each other, with the needed value as a line. The first bar is the present
// state; the part of each other bar beyond it is the gain. axis names the values with their unit. width is in pixels.
func Gains(title, axis, needed string, needs float64, list []Gain, width int) *Picture {
	g := gains{rows: newRows(len(list), small, float64(width)), needs: needs, needed: needed}
	g.list = list[:g.count]
	g.columns(14+g.names()+14, g.width-118)
	return g.picture(title, axis)
}

type gains struct {
	rows
	list   []Gain
	needs  float64
	needed string
}

func (g gains) picture(title, axis string) *Picture {
	most := 1e-9
	for _, r := range g.list {
		for _, v := range []float64{r.Value, min(r.High, 3*r.Value), g.needs} {
			if drawable(v) {
				most = max(most, v)
			}
		}
	}
	x := span{0, most * 1.06}
	n := g.panel(x, x.ticks(int((g.to-g.from)/80)), axis)
	for i, r := range g.list {
		n.layers = append(n.layers, func(p pen, f frame) { g.bar(p, f, r, i) })
	}
	n.layers = append(n.layers, func(p pen, f frame) {
		if g.needs > 0 && drawable(g.needs) {
			p.line(ink{stroke: text, width: 2, dash: []float64{6, 3}}, point{f.px(g.needs), f.top}, point{f.px(g.needs), f.bottom})
		}
	})
	return g.rows.picture(title, g.legend(), n)
}

// names returns the width of the labels.
func (g gains) names() float64 {
	font, err := chart.GetDefaultFont()
	if err != nil {
		return 200
	}
	wide := 80.0
	for _, r := range g.list {
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
	for _, r := range g.list {
		if r.Low < r.High {
			l = append(l, entry{"95 % interval", func(p pen, at point) { interval(p, at.x-10, at.x+10, at.y, ink{stroke: faint, width: 2}, 0) }})
			break
		}
	}
	return append(l, entry{g.needed, func(p pen, at point) {
		p.line(ink{stroke: text, width: 2, dash: []float64{3, 2}}, point{at.x, at.y - 7}, point{at.x, at.y + 7})
	}})
}

// bar draws bar i: the present value, the gain, the interval.
func (g gains) bar(p pen, f frame, r Gain, i int) {
	statement := "?"
	if drawable(r.Value) {
		statement = fmt.Sprintf("%.2f", r.Value)
		if r.Verdict != assessment.None {
			statement += " " + string(r.Verdict)
		}
	}
	mid := g.row(p, f, i, printable.Short(r.Label, 80), statement, verdictColour(r.Verdict))
	if !drawable(r.Value) {
		return
	}
	now := g.list[0].Value
	p.box(ink{fill: guide}, f.left, mid-8, f.px(math.Min(now, r.Value)), mid+8)
	if r.Value > now {
		p.box(ink{fill: pale(sound, 150)}, f.px(now), mid-8, f.px(r.Value), mid+8)
	}
	if r.Low < r.High && drawable(r.Low) {
		arrows := 0
		if r.High > f.x.max {
			arrows = arrowRight
		}
		interval(p, f.px(r.Low), f.px(min(r.High, maxDrawable)), mid, ink{stroke: text, width: 1.5}, arrows)
	}
	verdictMark(p, r.Verdict, point{f.px(r.Value), mid})
}

package chart

import (
	"sort"

	"github.com/wcharczuk/go-chart/v2"
	"github.com/wcharczuk/go-chart/v2/drawing"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/text/printable"
)

// plan is the run seen from above, drawn over the panels on the same scale:
// reels as bars, feeds as arrows from above, joints as marks with names below.
type plan struct {
	tracks []track
	names  []string
	feeds  []flag
	joints []flag
	frame  frame
	lanes  int
}

// flag is a named mark at a place of the run.
type flag struct {
	name    string
	metre   float64
	lane    int
	verdict assessment.Verdict
	row     int     // of its label, counted from the bar; -1 = there was no room for it
	x       float64 // of its label's middle
}

const (
	laneHeight = 20.0
	rowHeight  = 15.0
	mostRows   = 4 // of labels above and below; marks without room have no label
)

func (v *volts) plan(f frame) plan {
	n := plan{tracks: v.tracks, frame: f, lanes: lanes(v.tracks)}
	for _, r := range v.run.Reels {
		n.names = append(n.names, r.Name)
	}
	for _, d := range v.run.Feeds {
		if d.To.Kind == run.AtReel && d.To.Index < len(v.tracks) {
			t := v.tracks[d.To.Index]
			n.feeds = append(n.feeds, flag{name: d.Name, metre: t.at(d.To.Pixel), lane: t.lane, verdict: v.verdicts["feed "+d.Name]})
		}
	}
	for _, j := range v.run.Joints {
		if j.From < 0 || j.From >= len(v.tracks) || j.To < 0 || j.To >= len(v.tracks) {
			continue
		}
		name := j.Name
		if j.PlusCut {
			name += " (plus cut)"
		}
		from, to := v.tracks[j.From], v.tracks[j.To]
		n.joints = append(n.joints, flag{name: name, metre: (from.end() + to.start) / 2, lane: to.lane, verdict: v.verdicts["joint "+j.Name]})
	}
	arrange(n.feeds, f)
	arrange(n.joints, f)
	return n
}

// arrange places every label in the first row where it overlaps no other. Labels of failing joints
// are placed first.
func arrange(flags []flag, f frame) {
	font, err := chart.GetDefaultFont()
	if err != nil {
		return
	}
	order := make([]int, len(flags))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool {
		fa, fb := flags[order[a]], flags[order[b]]
		if failA, failB := fa.verdict == assessment.Fail, fb.verdict == assessment.Fail; failA != failB {
			return failA
		}
		return fa.metre < fb.metre
	})
	type taken struct{ from, to float64 }
	var rows [mostRows][]taken
	for _, i := range order {
		half := measure(font, flags[i].label(), small)/2 + 5
		x := f.px(flags[i].metre)
		x = max(half, min(f.right+8-half, x))
		flags[i].row, flags[i].x = -1, x
	next:
		for r := range rows {
			for _, t := range rows[r] {
				if x-half < t.to && x+half > t.from {
					continue next
				}
			}
			rows[r] = append(rows[r], taken{x - half, x + half})
			flags[i].row = r
			break
		}
	}
}

func (g flag) label() string {
	name := printable.Short(g.name, 24)
	if g.verdict == assessment.Fail || g.verdict == assessment.Unproven {
		name += ": " + string(g.verdict)
	}
	return name
}

func rowsOf(flags []flag) float64 {
	rows := 0
	for _, g := range flags {
		rows = max(rows, g.row+1)
	}
	return float64(rows)
}

func (n plan) height() float64 {
	return rowsOf(n.feeds)*rowHeight + 12 + float64(n.lanes)*laneHeight + rowsOf(n.joints)*rowHeight
}

// draw draws the plan at a height, and guides from its marks down to the bottom.
func (n plan) draw(p pen, top, bottom float64) {
	f := n.frame
	bar := top + rowsOf(n.feeds)*rowHeight + 10
	laneTop := func(lane int) float64 { return bar + float64(lane)*laneHeight }
	under := laneTop(n.lanes)

	below := under + rowsOf(n.joints)*rowHeight + 4
	if marks := append(append([]flag{}, n.feeds...), n.joints...); float64(len(marks))*16 < f.right-f.left {
		for _, g := range marks { // more guides could not be told apart
			x := f.px(g.metre)
			p.line(ink{stroke: guide, width: 1, dash: []float64{2, 3}}, point{x, below}, point{x, bottom})
		}
	}
	for i, t := range n.tracks {
		x0, x1 := f.px(t.start-t.pitch/2), f.px(t.end()+t.pitch/2)
		y := laneTop(t.lane)
		p.box(ink{fill: strip, stroke: guide, width: 1}, x0, y, x1, y+laneHeight-4)
		p.text(p.fit(n.names[i], small, x1-x0-14), point{(x0 + x1) / 2, y + 12}, small, text, centre)
	}
	for _, g := range n.feeds {
		x, y := f.px(g.metre), laneTop(g.lane)
		c := markColour(g.verdict)
		p.line(ink{stroke: c, width: 1.5}, point{x, bar - 10}, point{x, y - 4})
		p.area(ink{fill: c}, point{x - 5, y - 7}, point{x + 5, y - 7}, point{x, y + 2})
		if g.row >= 0 {
			p.text(g.label(), point{g.x, bar - 13 - float64(g.row)*rowHeight}, small, c, centre)
		}
	}
	for _, g := range n.joints {
		x, y := f.px(g.metre), laneTop(g.lane)+(laneHeight-4)/2
		if g.row >= 0 {
			p.line(ink{stroke: guide, width: 1}, point{x, y}, point{x, under + 2 + float64(g.row)*rowHeight})
		}
		if g.verdict == assessment.None {
			p.diamond(ink{fill: text, stroke: paper, width: 1}, point{x, y}, 5)
		} else {
			verdictMark(p, g.verdict, point{x, y})
		}
	}
	for _, g := range n.joints { // after all the lines that lead to them
		if g.row >= 0 {
			y, half := under+11+float64(g.row)*rowHeight, p.measure(g.label(), small)/2
			p.box(ink{fill: paper}, g.x-half-1, y-10, g.x+half+1, y+3)
			p.text(g.label(), point{g.x, y}, small, markColour(g.verdict), centre)
		}
	}
}

func markColour(v assessment.Verdict) drawing.Color {
	if v == assessment.Fail || v == assessment.Unproven {
		return verdictColour(v)
	}
	return text
}

package chart

import (
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

func (h *hang) picture() *Picture {
	h.layReels()
	h.labelElements()
	h.layLabels()
	top := h.laySources()
	tops := make([]float64, len(h.rows)) // of the lines
	height := top
	for i, row := range h.rows {
		tops[i] = height
		height += row.height
	}
	return &Picture{title: h.title(), width: h.width, height: max(height, 40), draw: func(p pen) error {
		h.drawSources(p)
		for i, row := range h.rows {
			h.drawLine(p, i, tops[i]+row.top)
		}
		h.drawLit(p, func(row int) float64 { return tops[row] + h.rows[row].top })
		return nil
	}}
}

// drawLine draws a line of reels whose plus conductor is at y.
func (h *hang) drawLine(p pen, line int, y float64) {
	row := h.rows[line]
	for _, i := range row.reels {
		h.drawReel(p, h.at[i], y)
	}
	for _, l := range row.above {
		l.draw(p, y, row.label)
		feedArrow(p, l, y)
	}
	for _, l := range row.below {
		l.draw(p, y, row.label)
	}
	for _, j := range h.run.Joints {
		if j.From < 0 || j.From >= len(h.at) || j.To < 0 || j.To >= len(h.at) {
			continue
		}
		if on, x := h.jointAt(j); on == line {
			h.drawJoint(p, j, x, y)
		}
	}
	if first := row.reels[0]; h.run.Reels[first].Follows >= 0 {
		// the line goes on from one above
		h.drawStub(p, h.at[first].x0, -1, y, false)
	}
}

var copper = ink{stroke: text, width: 2}

// drawReel draws a reel: two conductors, and pixels between them.
func (h *hang) drawReel(p pen, b bar, y float64) {
	p.box(ink{fill: strip}, b.x0, y, b.x1, y+railRoom)
	p.line(copper, point{b.x0, y}, point{b.x1, y})
	p.line(copper, point{b.x0, y + railRoom}, point{b.x1, y + railRoom})
	p.text("+", point{b.x0 + 5, y + 12}, small, faint, left)
	p.text("−", point{b.x0 + 5, y + railRoom - 4}, small, faint, left)
	if len(h.run.Reels) > mostReels {
		return
	}
	const pitch = 14.0
	from, to := b.x0+16, b.x1-4
	n := max(2, int((to-from)/pitch))
	for i := range n {
		x := from + (float64(i)+0.5)*(to-from)/float64(n)
		p.box(ink{fill: guide}, x-2, y+railRoom/2-2, x+2, y+railRoom/2+2)
	}
}

// drawJoint draws a joint's conductors and its verdict between them.
func (h *hang) drawJoint(p pen, j run.Joint, x, y float64) {
	from, to := h.at[j.From], h.at[j.To]
	if from.row == to.row && to.x0 > from.x1 {
		if !j.PlusCut {
			p.line(copper, point{from.x1, y}, point{to.x0, y})
		} else {
			p.line(copper, point{from.x1, y}, point{x - 7, y})
			p.line(copper, point{x + 7, y}, point{to.x0, y})
		}
		p.line(copper, point{from.x1, y + railRoom}, point{to.x0, y + railRoom})
	} else if h.rows[from.row].onward == j.To {
		h.drawStub(p, from.x1, 1, y, j.PlusCut)
	}
	middle := point{x, y + railRoom/2}
	if e := h.element(run.KindJoint, j.Name); e.Verdict == assessment.None {
		p.diamond(ink{fill: text, stroke: paper, width: 1}, middle, 6)
	} else {
		verdictMark(p, e.Verdict, middle)
	}
}

// drawStub draws conductors that go on in another line, to the right (1) or from the left (-1).
func (h *hang) drawStub(p pen, x, side, y float64, plusCut bool) {
	far := x + side*jointRoom/2
	if side < 0 {
		far = x - hangMargin + 4
	}
	dashed := copper
	dashed.dash = []float64{4, 3}
	if !plusCut {
		p.line(dashed, point{x, y}, point{far, y})
	}
	p.line(dashed, point{x, y + railRoom}, point{far, y + railRoom})
}

// feedArrow draws the end of a feed at the strip.
func feedArrow(p pen, l *label, y float64) {
	c := markColour(l.Verdict)
	p.line(ink{stroke: c, width: 2.5}, point{l.at, y - 16}, point{l.at, y - 6})
	p.area(ink{fill: c}, point{l.at - 6, y - 8}, point{l.at + 6, y - 8}, point{l.at, y})
}

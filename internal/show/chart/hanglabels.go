package chart

import (
	"fmt"
	"sort"

	"github.com/golang/freetype/truetype"
	"github.com/wcharczuk/go-chart/v2"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/text/printable"
)

// label is the text of an element beside the run: its name above its value and verdict.
type label struct {
	HangElement
	name  string
	at    float64 // x of the place that it is of
	x     float64 // of its middle
	line  int     // counted from the run; -1 = there is no room for it
	wide  float64
	below bool
}

const (
	labelHeight = 30.0 // of a label of two lines, px
	moreHeight  = 14.0 // of a third one
	mostLabels  = 4    // lines of labels above or below a line of reels
)

// value returns the second line of a label, "" where nothing is known.
func (l *label) value() string {
	text := printable.Short(l.Text, 30)
	if l.Verdict != assessment.None {
		if text != "" {
			text += " "
		}
		text += string(l.Verdict)
	}
	return text
}

// layLabels places the labels of every line, and sets the heights of the lines.
func (h *hang) layLabels() {
	font, err := chart.GetDefaultFont()
	if err != nil {
		return
	}
	for i := range h.rows {
		row := &h.rows[i]
		above, below := arrangeLabels(font, row.above, h.width), arrangeLabels(font, row.below, h.width)
		row.label = labelHeight
		for _, l := range append(append([]*label{}, row.above...), row.below...) {
			if l.More != "" {
				row.label = labelHeight + moreHeight
			}
		}
		row.top = float64(above)*row.label + 18
		row.height = row.top + railRoom + 14 + float64(below)*row.label + 14
	}
}

// labelElements puts a label for every feed above, and for every reel and joint below its place.
func (h *hang) labelElements() {
	for _, f := range h.run.Feeds {
		if f.To.Kind != run.AtReel || f.To.Index >= len(h.at) {
			continue
		}
		row := &h.rows[h.at[f.To.Index].row]
		name := printable.Short(f.Name, 24) + " from " + printable.Short(h.run.PlaceName(f.From), 24)
		row.above = append(row.above, &label{HangElement: h.element(run.KindFeed, f.Name), name: "feed " + name, at: h.reelX(f.To.Index, f.To.Pixel)})
	}
	for i, r := range h.run.Reels {
		b := h.at[i]
		e := h.element(run.KindReel, r.Name)
		name := "reel " + printable.Short(r.Name, 24)
		if metres := float64(r.Pixels) / r.Strip.PixelsPerMetre; drawable(metres) && metres > 0 {
			name += fmt.Sprintf(", %.3g m", metres)
		}
		h.rows[b.row].below = append(h.rows[b.row].below, &label{HangElement: e, name: name, at: (b.x0 + b.x1) / 2, below: true})
	}
	for _, j := range h.run.Joints {
		if j.From < 0 || j.From >= len(h.at) || j.To < 0 || j.To >= len(h.at) {
			continue
		}
		name := "joint " + printable.Short(j.Name, 30)
		if j.PlusCut {
			name += ", plus cut"
		}
		row, x := h.jointAt(j)
		h.rows[row].below = append(h.rows[row].below, &label{HangElement: h.element(run.KindJoint, j.Name), name: name, at: x, below: true})
	}
}

// jointAt returns the line of a joint and where on it the joint is: between its reels, or before
// the second one where they are in different lines.
func (h *hang) jointAt(j run.Joint) (row int, x float64) {
	from, to := h.at[j.From], h.at[j.To]
	if from.row == to.row && to.x0 > from.x1 {
		return to.row, (from.x1 + to.x0) / 2
	}
	if h.rows[from.row].onward == j.To {
		return from.row, from.x1 + jointRoom/2
	}
	return to.row, to.x0
}

// arrangeLabels places every label in the first line where it overlaps no other, failing elements
// first, and returns the number of lines.
func arrangeLabels(font *truetype.Font, labels []*label, width float64) (lines int) {
	order := append([]*label{}, labels...)
	urgency := map[assessment.Verdict]int{assessment.Fail: 2, assessment.Unproven: 1}
	sort.SliceStable(order, func(a, b int) bool {
		if ua, ub := urgency[order[a].Verdict], urgency[order[b].Verdict]; ua != ub {
			return ua > ub
		}
		return order[a].at < order[b].at
	})
	var taken [mostLabels][]*label
	for _, l := range order {
		const others = 1.05 // a reader's own font may be as much wider
		l.wide = others*max(measure(font, l.name, small), measure(font, l.value(), small)+18, measure(font, l.more(), small)) + 10
		l.x = max(l.wide/2+4, min(width-l.wide/2-4, l.at))
		l.line = -1
	next:
		for n := range taken {
			for _, other := range taken[n] {
				if l.x-l.wide/2 < other.x+other.wide/2 && other.x-other.wide/2 < l.x+l.wide/2 {
					continue next
				}
			}
			taken[n] = append(taken[n], l)
			l.line, lines = n, max(lines, n+1)
			break
		}
	}
	return lines
}

// more returns the third line of a label.
func (l *label) more() string { return printable.Short(l.More, 40) }

// draw draws a label of a height in a line of reels whose plus conductor is at y top.
func (l *label) draw(p pen, top, height float64) {
	if l.line < 0 {
		return
	}
	y, from := top-18-float64(l.line+1)*height+12, top-10
	if l.below {
		y, from = top+railRoom+14+float64(l.line)*height+12, top+railRoom+4
	}
	if l.below && l.line > 0 || !l.below {
		to := y - 10
		if !l.below {
			to = y + height - 12
		}
		p.line(ink{stroke: guide, width: 1}, point{l.at, from}, point{l.at, to})
	}
	half := l.wide / 2
	p.box(ink{fill: paper}, l.x-half+4, y-10, l.x+half-4, y+height-13)
	value := l.value()
	if value == "" {
		p.text(l.name, point{l.x, y + 6}, small, text, centre)
		return
	}
	p.text(l.name, point{l.x, y}, small, text, centre)
	start := l.x - (p.measure(value, small)+18)/2
	verdictMark(p, l.Verdict, point{start + 6, y + 10})
	p.text(value, point{start + 18, y + 14}, small, markColour(l.Verdict), left)
	p.text(l.more(), point{l.x, y + 28}, small, faint, centre)
}

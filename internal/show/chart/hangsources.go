package chart

import (
	"fmt"

	"github.com/wcharczuk/go-chart/v2"

	"ohmkeep/internal/run"
	"ohmkeep/internal/text/printable"
)

// sources are the supplies and junctions, which stand above the run.
type sources struct {
	boxes  []box
	bottom float64
}

// box is a supply or a junction.
type box struct {
	at      run.Place
	name    string
	x, y    float64 // of its left top corner
	wide    float64
	fedFrom string // a junction's feed and where that comes from; "" for a supply
	label   *label // of that feed
}

// laySources places the boxes in lines, and returns where the reels begin.
func (h *hang) laySources() float64 {
	x, y := hangMargin, 8.0
	font, err := chart.GetDefaultFont()
	if err != nil {
		return 0
	}
	place := func(b box) {
		b.wide = min(h.width-2*hangMargin, 52+max(58, measure(font, b.name, small), measure(font, b.fedBy(), small)))
		if x > hangMargin && x+b.wide > h.width-hangMargin {
			x, y = hangMargin, y+boxHeight+14
		}
		b.x, b.y = x, y
		h.boxes = append(h.boxes, b)
		x += b.wide + 24
	}
	for i, s := range h.run.Supplies {
		place(box{at: run.Place{Kind: run.AtSupply, Index: i}, name: fmt.Sprintf("supply %s, %.4g V", printable.Short(s.Name, 16), s.Volts)})
	}
	for i, j := range h.run.Junctions {
		b := box{at: run.Place{Kind: run.AtJunction, Index: i}, name: "junction " + printable.Short(j.Name, 16)}
		for _, f := range h.run.Feeds {
			if f.To == b.at {
				b.label = &label{HangElement: h.element(run.KindFeed, f.Name)}
				b.fedFrom = "feed " + printable.Short(f.Name, 16) + " from " + printable.Short(h.run.PlaceName(f.From), 16)
			}
		}
		place(b)
	}
	if len(h.boxes) == 0 {
		return 0
	}
	h.bottom = y + boxHeight
	return h.bottom + 10
}

// fedBy returns a junction's feed with its value and verdict, "" for a supply.
func (b box) fedBy() string {
	if b.label == nil {
		return ""
	}
	return b.fedFrom + " " + b.label.value()
}

func (h *hang) drawSources(p pen) {
	for _, b := range h.boxes {
		p.box(ink{fill: paper, stroke: text, width: 1.5}, b.x, b.y, b.x+b.wide, b.y+boxHeight)
		name := p.fit(b.name, small, b.wide-40)
		y := b.y + boxHeight/2 + 4
		if b.fedFrom != "" {
			y = b.y + 14
			p.text(p.fit(b.fedBy(), small, b.wide-40), point{b.x + 8, b.y + 28}, small, markColour(b.label.Verdict), left)
		}
		p.text(name, point{b.x + 8, y}, small, text, left)
		for rail, sign := range []string{"+", "−"} {
			at := b.terminal(run.Rail(rail))
			p.dot(ink{fill: text}, at, 3)
			p.text(sign, point{at.x - 8, at.y + 4}, small, faint, right)
		}
	}
}

// terminal returns where a conductor of a box is touched.
func (b box) terminal(rail run.Rail) point {
	at := point{b.x + b.wide - 8, b.y + 9}
	if rail == run.Minus {
		at.y += boxHeight - 18
	}
	return at
}

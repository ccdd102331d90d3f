package chart

import (
	"fmt"
	"math"

	"github.com/wcharczuk/go-chart/v2/drawing"

	"ohmkeep/internal/run"
)

// Lit are the places to touch, drawn large and numbered 1 and 2 in the order of a reading's from
// and to. The zero value is no place.
type Lit struct {
	Points []run.Point
	Feed   string // the feed whose current is read; "" = none
}

// LitReading returns the places of a reading of a quantity between two points, or through a feed.
// A name that the run does not have is no place.
func LitReading(r *run.Run, q run.Quantity, from, to string) Lit {
	if q == run.Current {
		return Lit{Feed: from}
	}
	var l Lit
	for _, name := range []string{from, to} {
		if p, err := r.Point(name); err == nil {
			l.Points = append(l.Points, p)
		}
	}
	return l
}

// drawLit draws the places to touch, over everything else. top returns the y of a line's plus
// conductor.
func (h *hang) drawLit(p pen, top func(row int) float64) {
	const radius = 12
	var spots []point // of the circles, beside the places so that both tips can be seen
	for i, l := range h.lit.Points {
		on := h.pointAt(l, top)
		at := on
		switch {
		case l.Kind != run.AtReel:
			at.x += radius + 8
		case l.Rail == run.Plus:
			at.y -= radius - 2
		default:
			at.y += radius - 2
		}
		for _, other := range spots {
			if math.Hypot(at.x-other.x, at.y-other.y) < 2*radius+4 {
				at.x = other.x + 2*radius + 6
			}
		}
		spots = append(spots, at)
		spotLit(p, fmt.Sprint(i+1), on, at, radius)
	}
	if h.lit.Feed == "" {
		return
	}
	for _, f := range h.run.Feeds {
		if f.Name != h.lit.Feed {
			continue
		}
		if f.To.Kind == run.AtReel && f.To.Index < len(h.at) {
			on := point{h.reelX(f.To.Index, f.To.Pixel), top(h.at[f.To.Index].row) - 12}
			spotLit(p, "A", on, on, radius)
		}
		for _, b := range h.boxes {
			if b.at == f.To {
				on := point{b.x, b.y + boxHeight/2}
				spotLit(p, "A", on, on, radius)
			}
		}
	}
}

// spotLit draws one place to touch: a full circle with its number, and a line to the place.
func spotLit(p pen, number string, on, at point, radius float64) {
	p.dot(ink{fill: paper, stroke: paper, width: 1}, at, radius+3)
	p.dot(ink{fill: text, stroke: lamp, width: 3}, at, radius)
	p.text(number, point{at.x, at.y + 5}, body, paper, centre)
	if at != on {
		p.dot(ink{fill: lamp, stroke: text, width: 1}, on, 3.5)
	}
}

// lamp is the colour of a place to touch, which no verdict has.
var lamp = drawing.Color{R: 234, G: 158, B: 30, A: 255}

// pointAt returns where a point of the run is drawn.
func (h *hang) pointAt(at run.Point, top func(row int) float64) point {
	if at.Kind != run.AtReel {
		for _, b := range h.boxes {
			if b.at == at.Place {
				return b.terminal(at.Rail)
			}
		}
		return point{}
	}
	on := point{h.reelX(at.Index, at.Pixel), top(h.at[at.Index].row)}
	if at.Rail == run.Minus {
		on.y += railRoom
	}
	return on
}

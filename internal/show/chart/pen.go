package chart

import (
	"math"

	"github.com/golang/freetype/truetype"
	"github.com/wcharczuk/go-chart/v2"
	"github.com/wcharczuk/go-chart/v2/drawing"
	"golang.org/x/image/math/fixed"

	"ohmkeep/internal/text/printable"
)

// point is a place in a picture, in pixels from its top left corner.
type point struct{ x, y float64 }

// ink is the colour, width and dashes of a stroke; a zero colour draws nothing.
type ink struct {
	stroke, fill drawing.Color
	width        float64
	dash         []float64
}

// pen draws in pixels on a renderer that counts in whole units.
type pen struct {
	r     chart.Renderer
	units float64
	font  *truetype.Font
}

// Sizes of text, in pixels.
const (
	body  = 13.0
	small = 11.5
	large = 17.0
)

// align is the part of a text that is at its point.
type align float64

const (
	left   align = 0
	centre align = 0.5
	right  align = 1
)

func (p pen) whole(v float64) int { return int(math.Round(v * p.units)) }

// dip sets the pen's style. The renderer keeps its style from one shape to the next and fills even
// stroked shapes, so every property is set.
func (p pen) dip(i ink) {
	p.r.ResetStyle()
	p.r.SetStrokeColor(i.stroke)
	p.r.SetFillColor(i.fill)
	p.r.SetStrokeWidth(i.width * p.units)
	var dash []float64
	for _, d := range i.dash {
		dash = append(dash, d*p.units)
	}
	p.r.SetStrokeDashArray(dash)
}

// line draws an open line; fewer than two points draw nothing.
func (p pen) line(i ink, at ...point) {
	if len(at) < 2 {
		return
	}
	i.fill = drawing.Color{}
	p.dip(i)
	p.r.MoveTo(p.whole(at[0].x), p.whole(at[0].y))
	for _, q := range at[1:] {
		p.r.LineTo(p.whole(q.x), p.whole(q.y))
	}
	p.r.Stroke()
}

// area draws a closed shape.
func (p pen) area(i ink, at ...point) {
	if len(at) < 3 {
		return
	}
	p.dip(i)
	p.r.MoveTo(p.whole(at[0].x), p.whole(at[0].y))
	for _, q := range at[1:] {
		p.r.LineTo(p.whole(q.x), p.whole(q.y))
	}
	p.r.Close()
	p.finish(i)
}

func (p pen) finish(i ink) {
	if i.width > 0 {
		p.r.FillStroke()
	} else {
		p.r.Fill()
	}
}

func (p pen) box(i ink, x0, y0, x1, y1 float64) {
	p.area(i, point{x0, y0}, point{x1, y0}, point{x1, y1}, point{x0, y1})
}

// dot draws a dot as a polygon, because the library's circles are not round in PNG, and are finished by
// different calls in SVG and PNG.
func (p pen) dot(i ink, at point, radius float64) {
	const corners = 20
	ring := make([]point, corners)
	for n := range ring {
		sin, cos := math.Sincos(2 * math.Pi * float64(n) / corners)
		ring[n] = point{at.x + radius*cos, at.y + radius*sin}
	}
	p.area(i, ring...)
}

// diamond draws a square with a corner at the top.
func (p pen) diamond(i ink, at point, radius float64) {
	p.area(i, point{at.x, at.y - radius}, point{at.x + radius, at.y}, point{at.x, at.y + radius}, point{at.x - radius, at.y})
}

// text writes s on the base line at a point.
func (p pen) text(s string, at point, size float64, c drawing.Color, a align) {
	s = printable.Short(s, 200)
	if s == "" {
		return
	}
	p.r.ResetStyle()
	p.r.SetFont(p.font)
	p.r.SetFontSize(size)
	p.r.SetFontColor(c)
	p.r.Text(s, p.whole(at.x-float64(a)*p.measure(s, size)), p.whole(at.y))
}

// measure returns the width of a text in pixels.
func (p pen) measure(s string, size float64) float64 { return measure(p.font, s, size) }

func measure(font *truetype.Font, s string, size float64) float64 {
	em := font.FUnitsPerEm()
	var width fixed.Int26_6
	for _, r := range s {
		width += font.HMetric(fixed.Int26_6(em), font.Index(r)).AdvanceWidth
	}
	return float64(width) / float64(em) * size
}

// fit shortens a text to a width in pixels; "" if no useful part fits.
func (p pen) fit(s string, size, width float64) string {
	s = printable.Short(s, 80)
	for n := len([]rune(s)); n > 2; n-- {
		if short := printable.Short(s, n); p.measure(short, size) <= width {
			return short
		}
	}
	if p.measure(s, size) <= width {
		return s
	}
	return ""
}

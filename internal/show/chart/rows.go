package chart

import (
	"fmt"
	"math"

	"github.com/wcharczuk/go-chart/v2/drawing"
)

const mostBars = 60 // of a picture; how many more there are stands below them

// rows lays out one bar a row, each with a label and a statement: beside the bar, or above
// it where the picture is narrow, as on a phone.
type rows struct {
	count, more int     // rows that are drawn, and others for which there is no room
	width       float64 // of the picture, px
	beside      bool
	height      float64 // of a row, px
	from, to    float64 // where bars begin and end, px
	size        float64 // of the letters
}

// newRows lays out the first of count rows, with letters of a size, on a picture of a width in px.
func newRows(count int, size, width float64) rows {
	l := rows{count: min(count, mostBars), width: width, size: size, beside: width >= 600, height: 52, from: 16, to: width - 24}
	l.more = count - l.count
	if l.beside {
		l.height = 30
	}
	return l
}

// columns sets where bars begin and end beside labels and statements.
func (l *rows) columns(from, to float64) {
	if l.beside {
		l.from, l.to = from, to
	}
}

// panel returns the panel of the rows, with axis for the values below.
func (l rows) panel(x span, ticks []tick, axis string) panel {
	return panel{top: 74, height: l.height * float64(max(1, l.count)), left: l.from, right: l.to, pictureExtent: l.width,
		x: x, y: span{0, 1}, xTicks: ticks, gridX: true, above: 4, below: 62, xTitle: axis}
}

// picture returns a picture of a panel under a title and a legend.
func (l rows) picture(title string, key legend, n panel) *Picture {
	n.top += key.height(l.width) - legendLine
	return &Picture{title: title, width: l.width, height: n.top + n.height + n.below, draw: func(p pen) error {
		p.text(p.fit(title, large, l.width-28), point{14, 23}, large, text, left)
		key.draw(p, 32, l.width)
		if l.more > 0 {
			p.text(fmt.Sprintf("and %d more, in the table", l.more), point{14, n.top + n.height + n.below - 8}, small, text, left)
		}
		return n.draw(p)
	}}
}

// row draws the shade, the label and the statement of row i, and returns the height at
// which its bar lies, px.
func (l rows) row(p pen, f frame, i int, label, statement string, c drawing.Color) (y float64) {
	top := f.top + float64(i)*l.height
	if i%2 == 1 {
		p.box(ink{fill: pale(strip, 110)}, 4, top, l.width-4, top+l.height)
	}
	if !l.beside {
		p.text(statement, point{l.width - 14, top + 17}, l.size, c, right)
		p.text(p.fit(label, l.size, l.width-44-p.measure(statement, l.size)), point{14, top + 17}, l.size, text, left)
		return top + 36
	}
	y = top + l.height/2
	base := y + math.Round(l.size*0.7)/2 // letters stand on it, about the middle of the row
	p.text(p.fit(label, l.size, f.left-24), point{14, base}, l.size, text, left)
	p.text(statement, point{f.right + 14, base}, l.size, c, left)
	return y
}

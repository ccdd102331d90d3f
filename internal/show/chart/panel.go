package chart

import (
	"io"

	"github.com/wcharczuk/go-chart/v2"
)

// panel is one chart of a picture: a frame with its own axes, the full width of
// the picture, its heading above the frame.
type panel struct {
	heading       string
	top, height   float64 // of the frame, px
	left, right   float64 // the frame's sides, px
	x, y          span
	xTicks        []tick // nil = no labels below
	yTicks        []tick
	xTitle        string
	gridX         bool
	above, below  float64 // px outside the frame that the panel paints
	layers        []func(pen, frame)
	pictureExtent float64 // the picture's width
}

// frame turns values into places.
type frame struct {
	left, top, right, bottom float64
	x, y                     span
}

// at returns the place of a value; what lies outside is moved to the edge.
func (f frame) at(x, y float64) point { return point{f.px(x), f.py(y)} }

func (f frame) px(x float64) float64 { return f.left + f.x.part(x)*(f.right-f.left) }
func (f frame) py(y float64) float64 { return f.bottom - f.y.part(y)*(f.bottom-f.top) }

// draw renders the panel as a chart of its own on a part of the picture. The
// library's axes are hidden: their ticks are not round and their width would
// move the frames of stacked panels against each other.
func (n panel) draw(p pen) error {
	outerTop := n.top - n.above
	c := chart.Chart{
		Width: p.whole(n.pictureExtent), Height: p.whole(n.height + n.above + n.below), DPI: 72 * p.units, Font: p.font,
		Background: chart.Style{FillColor: pale(paper, 0), StrokeWidth: chart.Disabled,
			Padding: chart.NewBox(p.whole(n.above), p.whole(n.left), p.whole(n.pictureExtent-n.right), p.whole(n.below))},
		Canvas:         chart.Style{FillColor: pale(paper, 0), StrokeWidth: chart.Disabled},
		XAxis:          chart.XAxis{Style: chart.Hidden(), Range: &chart.ContinuousRange{Min: n.x.min, Max: n.x.max}},
		YAxis:          chart.YAxis{Style: chart.Hidden(), Range: &chart.ContinuousRange{Min: n.y.min, Max: n.y.max}},
		YAxisSecondary: chart.YAxis{Style: chart.Hidden(), Range: &chart.ContinuousRange{Min: 0, Max: 1}},
		Series:         []chart.Series{layer{p, n.axes}},
	}
	for _, l := range n.layers {
		c.Series = append(c.Series, layer{p, l})
	}
	return c.Render(func(int, int) (chart.Renderer, error) {
		return window{p.r, p.whole(outerTop)}, nil
	}, io.Discard)
}

// axes draws heading, grid and labels.
func (n panel) axes(p pen, f frame) {
	if heading := p.fit(n.heading, body, n.pictureExtent-f.left-4); heading != "" {
		p.box(ink{fill: paper}, f.left-4, f.top-22, f.left+p.measure(heading, body)+4, f.top-4)
		p.text(heading, point{f.left, f.top - 9}, body, text, left)
	}
	line := ink{stroke: rule, width: 1}
	for _, t := range n.yTicks {
		y := f.py(t.value)
		p.line(line, point{f.left, y}, point{f.right, y})
		p.text(t.label, point{f.left - 6, y + 4}, small, faint, right)
	}
	free := f.left - 40 // where the last label ended
	for _, t := range n.xTicks {
		x := f.px(t.value)
		if n.gridX {
			p.line(line, point{x, f.top}, point{x, f.bottom})
		}
		p.line(ink{stroke: guide, width: 1}, point{x, f.bottom}, point{x, f.bottom + 4})
		if half := p.measure(t.label, small) / 2; x-half > free+6 {
			p.text(t.label, point{x, f.bottom + 17}, small, faint, centre)
			free = x + half
		}
	}
	p.line(ink{stroke: guide, width: 1}, point{f.left, f.bottom}, point{f.right, f.bottom})
	p.text(n.xTitle, point{(f.left + f.right) / 2, f.bottom + 34}, small, faint, centre)
}

// layer is one thing drawn in a panel.
type layer struct {
	pen  pen
	draw func(pen, frame)
}

func (layer) GetName() string           { return "" }
func (layer) GetYAxis() chart.YAxisType { return chart.YAxisPrimary }
func (layer) GetStyle() chart.Style     { return chart.Style{} }
func (layer) Validate() error           { return nil }

// Render draws on the renderer that the chart hands in.
func (l layer) Render(r chart.Renderer, canvas chart.Box, x, y chart.Range, _ chart.Style) {
	on := l.pen
	on.r = r
	u := on.units
	l.draw(on, frame{
		left: float64(canvas.Left) / u, right: float64(canvas.Right) / u,
		top: float64(canvas.Top) / u, bottom: float64(canvas.Bottom) / u,
		x: span{x.GetMin(), x.GetMax()}, y: span{y.GetMin(), y.GetMax()},
	})
}

// window is a part of a picture that begins further down; a chart drawn in it
// does not end the picture.
type window struct {
	chart.Renderer
	down int
}

func (w window) MoveTo(x, y int)            { w.Renderer.MoveTo(x, y+w.down) }
func (w window) LineTo(x, y int)            { w.Renderer.LineTo(x, y+w.down) }
func (w window) Text(body string, x, y int) { w.Renderer.Text(body, x, y+w.down) }
func (w window) Save(io.Writer) error       { return nil }

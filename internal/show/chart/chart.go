// Package chart draws results of a run: the volts along it, its resistances against their limits,
// the residuals of its readings, its colours, its repairs and its drift.
//
// A Picture is laid out in pixels and written as SVG or PNG. It is always of finite size: ranges
// are clipped to what can be drawn, long traces are reduced to what a pixel can show, and long
// lists end with a count of the rest. Text from the run file is escaped for SVG; no element refers
// to anything outside the picture.
package chart

import (
	"bytes"
	"fmt"
	"html"
	"io"
	"math"
	"strings"

	"github.com/wcharczuk/go-chart/v2"

	"ohmkeep/internal/file"
	"ohmkeep/internal/text/printable"
)

// Widths that pictures are laid out for, in pixels.
const (
	Wide   = 900 // a page or a screen
	Narrow = 400 // a phone held upright
)

// Picture is a drawing that has been laid out but not yet drawn.
type Picture struct {
	title  string // what it shows, for those who cannot see it
	width  float64
	height float64
	draw   func(pen) error
}

// The renderer rounds to whole units, so a unit is a fraction of a pixel.
const (
	svgUnits = 4
	pngUnits = 3
)

// SVG writes the picture as one <svg> element for a page or a file.
func (p *Picture) SVG(w io.Writer) error {
	drawn, err := p.render(svgUnits, func(width, height int) (chart.Renderer, error) {
		r, err := chart.SVG(width, height)
		return escaping{r}, err
	})
	if err != nil {
		return err
	}
	// No reader has the font that the text was measured with; these are as wide.
	svg := strings.ReplaceAll(drawn.String(), "font-family:'Roboto Medium',sans-serif",
		"font-family:Roboto,Arial,Helvetica,sans-serif")
	svg = strings.Replace(svg, "<svg ", fmt.Sprintf(`<svg data-generator="%s" role="img" aria-label="%s" width="%.0f" height="%.0f" `,
		file.PictureMark, html.EscapeString(printable.Short(p.title, 200)), p.width, p.height), 1)
	_, err = io.WriteString(w, svg)
	return err
}

// PNG writes the picture at three dots a pixel.
func (p *Picture) PNG(w io.Writer) error {
	drawn, err := p.render(pngUnits, func(width, height int) (chart.Renderer, error) {
		r, err := chart.PNG(width, height)
		return sized{r}, err
	})
	if err != nil {
		return err
	}
	_, err = w.Write(marked(drawn.Bytes()))
	return err
}

func (p *Picture) render(units float64, provide chart.RendererProvider) (*bytes.Buffer, error) {
	font, err := chart.GetDefaultFont()
	if err != nil {
		return nil, fmt.Errorf("picture: font: %w", err)
	}
	r, err := provide(int(math.Ceil(p.width*units)), int(math.Ceil(p.height*units)))
	if err != nil {
		return nil, fmt.Errorf("picture: %w", err)
	}
	r.SetDPI(72 * units) // so that a font size is in pixels
	r.SetFont(font)
	on := pen{r: r, units: units, font: font}
	on.area(ink{fill: paper}, point{0, 0}, point{p.width, 0}, point{p.width, p.height}, point{0, p.height})
	if err := p.draw(on); err != nil {
		return nil, fmt.Errorf("picture: %w", err)
	}
	var out bytes.Buffer
	if err := r.Save(&out); err != nil {
		return nil, fmt.Errorf("picture: %w", err)
	}
	return &out, nil
}

// escaping escapes text for SVG, which the library does not do.
type escaping struct{ chart.Renderer }

func (e escaping) Text(body string, x, y int) { e.Renderer.Text(html.EscapeString(body), x, y) }

// sized corrects the size of text in a PNG, for which the library assumes 64 points an inch.
type sized struct{ chart.Renderer }

func (s sized) SetFontSize(points float64) { s.Renderer.SetFontSize(points * 64 / 72) }

package chart

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"ohmkeep/internal/result/assessment"
)

// Residuals draws how far each reading lies from the fitted run, in its own
// standard deviations, in the order of the file. width is in pixels.
func Residuals(readings []assessment.Reading, width int) *Picture {
	r := residuals{width: float64(width)}
	for i, m := range readings {
		if math.IsNaN(m.Standardised) {
			continue
		}
		r.marks = append(r.marks, residual{x: float64(i), row: m.Row, z: m.Standardised, suspect: m.Suspect, used: m.Used})
	}
	r.count = len(readings)
	r.thin()
	return r.picture(readings)
}

type residual struct {
	x             float64 // index of the reading
	row           int
	z             float64
	suspect, used bool
}

type residuals struct {
	width float64
	count int
	marks []residual
}

// limit is the largest value of the axis, in standard deviations; larger ones would squash all
// others.
const limit = 6.0

// thin leaves two ordinary marks a pixel, the least and the greatest; suspects all stay.
func (r *residuals) thin() {
	columns := int(r.width)
	if len(r.marks) <= 2*columns {
		return
	}
	least, greatest := make([]int, columns), make([]int, columns)
	for c := range least {
		least[c], greatest[c] = -1, -1
	}
	for i, m := range r.marks {
		if c := min(columns-1, int(m.x/float64(r.count)*float64(columns))); !m.suspect {
			if least[c] < 0 || m.z < r.marks[least[c]].z {
				least[c] = i
			}
			if greatest[c] < 0 || m.z > r.marks[greatest[c]].z {
				greatest[c] = i
			}
		}
	}
	var kept []residual
	for i, m := range r.marks {
		c := min(columns-1, int(m.x/float64(r.count)*float64(columns)))
		if m.suspect || least[c] == i || greatest[c] == i {
			kept = append(kept, m)
		}
	}
	r.marks = kept
}

func (r residuals) picture(readings []assessment.Reading) *Picture {
	reach := 4.0
	for _, m := range r.marks {
		reach = max(reach, min(limit, math.Abs(m.z)*1.1))
	}
	n := panel{
		heading: "standard deviations above or below", top: 84, height: 190, left: 40, right: r.width - 40,
		x: span{-0.7, max(1, float64(r.count)) - 0.3}, y: span{-reach, reach},
		xTicks: rowTicks(readings, int(r.width/60)), xTitle: "line of the file", above: 26, below: 46, pictureExtent: r.width,
	}
	n.yTicks = []tick{{-2, "−2"}, {0, "0"}, {2, "2"}, {-3, "−3"}, {3, "3"}}
	n.layers = []func(pen, frame){r.lines, r.draw}
	key := legend{
		{"reading", func(p pen, at point) { r.mark(p, at, residual{used: true}) }},
		{"left out of the fit", func(p pen, at point) { r.mark(p, at, residual{}) }},
		{"contradicts the others", suspectMark},
		{"19 of 20 lie within the dashed lines", func(p pen, at point) {
			p.line(ink{stroke: faint, width: 1.25, dash: []float64{6, 4}}, point{at.x - 11, at.y}, point{at.x + 11, at.y})
		}},
	}
	n.top += key.height(r.width) - legendLine
	title := "Readings against the fitted run"
	return &Picture{title: title, width: r.width, height: n.top + n.height + n.below, draw: func(p pen) error {
		p.text(title, point{14, 23}, large, text, left)
		key.draw(p, 32, r.width)
		return n.draw(p)
	}}
}

// rowTicks labels some readings with the line of their row.
func rowTicks(readings []assessment.Reading, n int) []tick {
	every := max(1, (len(readings)+n-1)/max(1, n))
	var out []tick
	for i := 0; i < len(readings); i += every {
		out = append(out, tick{float64(i), strconv.Itoa(readings[i].Row)})
	}
	return out
}

// lines draws the bounds of 19 of 20, and of 997 of 1000, normal readings.
func (r residuals) lines(p pen, f frame) {
	p.box(ink{fill: pale(sound, 18)}, f.left, f.py(2), f.right, f.py(-2))
	for _, z := range []float64{-3, -2, 0, 2, 3} {
		with := ink{stroke: faint, width: 1.25}
		switch math.Abs(z) {
		case 2:
			with.dash = []float64{6, 4}
		case 3:
			with.stroke = faulty
		}
		p.line(with, f.at(f.x.min, z), f.at(f.x.max, z))
	}
	if len(r.marks) == 0 {
		p.text("no readings", point{(f.left + f.right) / 2, f.py(1)}, body, faint, centre)
	}
}

func (r residuals) draw(p pen, f frame) {
	for _, m := range r.marks {
		at := f.at(m.x, m.z)
		if !m.suspect {
			p.line(ink{stroke: pale(sound, 90), width: 1}, f.at(m.x, 0), at)
			r.mark(p, at, m)
		}
	}
	for _, m := range r.marks {
		if !m.suspect {
			continue
		}
		at := f.at(m.x, m.z)
		at.y = min(f.bottom-9, max(f.top+9, at.y))
		suspectMark(p, at)
		label := fmt.Sprintf("line %d", m.row)
		if !f.y.holds(m.z) && drawable(m.z) {
			label += ": " + strings.Replace(strconv.FormatFloat(m.z, 'g', 3, 64), "-", "−", 1)
		}
		beside(p, f, at, label)
	}
}

func (r residuals) mark(p pen, at point, m residual) {
	if m.used {
		p.dot(ink{fill: sound, stroke: paper, width: 1}, at, 4)
	} else {
		p.dot(ink{fill: paper, stroke: faint, width: 1.5}, at, 3.5)
	}
}

package chart

import (
	"github.com/wcharczuk/go-chart/v2/drawing"

	"ohmkeep/internal/result/assessment"
)

// Colours differ in lightness as well as in hue. No meaning depends on a colour alone: a verdict has
// its own shape and word, a step its own dashes.
var (
	paper = drawing.Color{R: 255, G: 255, B: 255, A: 255}
	text  = drawing.Color{R: 28, G: 36, B: 46, A: 255}
	faint = drawing.Color{R: 88, G: 100, B: 113, A: 255}
	rule  = drawing.Color{R: 224, G: 229, B: 234, A: 255}
	guide = drawing.Color{R: 190, G: 198, B: 207, A: 255}
	strip = drawing.Color{R: 233, G: 236, B: 240, A: 255}

	sound   = drawing.Color{R: 22, G: 105, B: 130, A: 255}
	faulty  = drawing.Color{R: 170, G: 46, B: 26, A: 255}
	unknown = drawing.Color{R: 133, G: 92, B: 0, A: 255}
)

// stepInks are used for the steps in turn, and again from the first.
var stepInks = []ink{
	{stroke: drawing.Color{R: 22, G: 105, B: 130, A: 255}, width: 2},
	{stroke: drawing.Color{R: 190, G: 84, B: 20, A: 255}, width: 2, dash: []float64{9, 3}},
	{stroke: drawing.Color{R: 104, G: 66, B: 148, A: 255}, width: 2, dash: []float64{3, 3}},
	{stroke: drawing.Color{R: 60, G: 116, B: 44, A: 255}, width: 2, dash: []float64{12, 3, 3, 3}},
	{stroke: drawing.Color{R: 120, G: 62, B: 62, A: 255}, width: 2, dash: []float64{6, 2}},
}

func stepInk(i int) ink {
	if i < 0 {
		return ink{stroke: faint, width: 1.5}
	}
	return stepInks[i%len(stepInks)]
}

func pale(c drawing.Color, alpha uint8) drawing.Color { c.A = alpha; return c }

func verdictColour(v assessment.Verdict) drawing.Color {
	switch v {
	case assessment.Fail:
		return faulty
	case assessment.Unproven:
		return unknown
	case assessment.Pass:
		return sound
	}
	return faint
}

// verdictMark draws the shape of a verdict: a square with a cross for fail, a
// hollow diamond for unproven, a full dot for pass, a small ring where there is
// no limit.
func verdictMark(p pen, v assessment.Verdict, at point) {
	c := verdictColour(v)
	switch v {
	case assessment.Fail:
		const r = 6
		p.box(ink{fill: c, stroke: paper, width: 1}, at.x-r, at.y-r, at.x+r, at.y+r)
		cross := ink{stroke: paper, width: 1.75}
		p.line(cross, point{at.x - 3, at.y - 3}, point{at.x + 3, at.y + 3})
		p.line(cross, point{at.x - 3, at.y + 3}, point{at.x + 3, at.y - 3})
	case assessment.Unproven:
		p.diamond(ink{fill: paper, stroke: c, width: 2}, at, 6)
	case assessment.Pass:
		p.dot(ink{fill: c, stroke: paper, width: 1}, at, 5)
	default:
		p.dot(ink{fill: paper, stroke: c, width: 2}, at, 3.5)
	}
}

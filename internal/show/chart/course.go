package chart

import (
	"math"

	"ohmkeep/internal/run"
)

// drawCourse draws one step's traces in a panel, the reels joined where their
// conductor is.
func (v *volts) drawCourse(p pen, f frame, step, kind int) {
	with := stepInk(step)
	c := v.courses[step]
	for i, r := range c.reels {
		n := min(len(r.plus), v.tracks[i].n)
		if n == 0 {
			continue
		}
		t := v.tracks[i]
		xAt := func(k int) float64 { return f.px(t.at(k + 1)) }
		of := with
		if t.lane > 0 {
			of.width = 1.25
		}
		if kind == inPair && r.band != nil {
			drawBand(p, f, r, n, with, xAt)
		}
		lines := trace(n, xAt, func(k int) float64 { return height(f, r.value(kind, k)) })
		for _, l := range lines {
			if len(l) == 1 { // a reel of one pixel, or one among gaps
				l = []point{{l[0].x - 2, l[0].y}, {l[0].x + 2, l[0].y}}
			}
			p.line(of, l...)
		}
		v.drawJoin(p, f, c, i, kind, of)
	}
}

// height is py, or NaN for a value that cannot be drawn.
func height(f frame, value float64) float64 {
	if !drawable(value) {
		return math.NaN()
	}
	return f.py(value)
}

// drawJoin draws the step from the end of the reel before to the start of reel i.
func (v *volts) drawJoin(p pen, f frame, c course, i, kind int, with ink) {
	before := v.run.Reels[i].Follows
	if before < 0 || before >= len(c.reels) || before == i || (kind != inMinus && v.plusCut(before, i)) {
		return
	}
	a, b := c.reels[before], c.reels[i]
	if len(a.plus) == 0 || len(b.plus) == 0 {
		return
	}
	from, to := a.value(kind, len(a.plus)-1), b.value(kind, 0)
	if drawable(from) && drawable(to) {
		p.line(with, f.at(v.tracks[before].end(), from), f.at(v.tracks[i].start, to))
	}
}

func (v *volts) plusCut(from, to int) bool {
	for _, j := range v.run.Joints {
		if j.From == from && j.To == to {
			return j.PlusCut
		}
	}
	return false
}

// drawBand fills the 95 % band of the pair voltage.
func drawBand(p pen, f frame, r rails, n int, with ink, xAt func(int) float64) {
	edge := func(side float64) [][]point {
		return trace(n, xAt, func(k int) float64 { return height(f, r.pair(k)+side*r.band[k]) })
	}
	upper, lower := edge(1), edge(-1)
	for i := range min(len(upper), len(lower)) {
		ring := append([]point{}, upper[i]...)
		for k := len(lower[i]) - 1; k >= 0; k-- {
			ring = append(ring, lower[i][k])
		}
		p.area(ink{fill: pale(with.stroke, 50)}, ring...)
	}
}

// potential returns the potential of a point on a reel.
func (c course) potential(at run.Point) (float64, bool) {
	if at.Kind != run.AtReel || at.Index >= len(c.reels) {
		return 0, false
	}
	r := c.reels[at.Index]
	if at.Pixel < 1 || at.Pixel > len(r.plus) {
		return 0, false
	}
	if at.Rail == run.Plus {
		return r.plus[at.Pixel-1], true
	}
	return r.minus[at.Pixel-1], true
}

package chart

import (
	"math"

	"github.com/wcharczuk/go-chart/v2/drawing"

	"ohmkeep/internal/advise/colourloss"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/colour"
)

// night is the background of the bands of light.
var night = drawing.Color{R: 14, G: 16, B: 20, A: 255}

const (
	bandHeight  = 26 // of one lane of light
	seenHeight  = 110
	bandHeading = 22
)

// seen is the state of drawing Seen.
type seen struct {
	what     *colourloss.Appearance
	tracks   []track
	exposure float64
}

// Seen draws the run as people see it: a band of light as commanded, one as lit
// below it, and volts, distance in u'v' and brightness under them. width is in
// pixels.
func Seen(a *colourloss.Appearance, width int) *Picture {
	s := seen{what: a, tracks: placeReels(a.Run), exposure: math.Inf(1)}
	for _, r := range a.Reels {
		if r.Full.Y > 0 {
			s.exposure = math.Min(s.exposure, colour.Exposure(r.Full))
		}
	}
	return s.picture(float64(width))
}

func (s *seen) picture(width float64) *Picture {
	v := volts{run: s.what.Run, width: width, tracks: s.tracks}
	if v.run == nil {
		v.run = &run.Run{}
	}
	x := stretch(s.tracks)
	f := frame{left: 58, right: width - 14, x: x}
	plan := v.plan(f)
	title := titled(v.run.Name, "Colour along the run, step "+s.what.Step.Name)
	mapTop := 36.0
	bandsTop := mapTop + plan.height() + 8
	lane := float64(lanes(s.tracks)) * bandHeight
	y := bandsTop + 2*(lane+bandHeading) + 40
	panels := s.panels(y)
	for i := range panels {
		n := &panels[i]
		n.x, n.left, n.right, n.pictureExtent, n.above = x, f.left, f.right, width, 30
		n.top, n.height = y, seenHeight
		n.yTicks = n.y.ticks(5)
		y += seenHeight + 36
	}
	last := &panels[len(panels)-1]
	last.xTicks, last.xTitle, last.below = x.ticks(int(width/80)), "metres along the run", 44
	bottom := last.top + last.height
	return &Picture{title: title, width: width, height: bottom + last.below, draw: func(p pen) error {
		p.text(p.fit(title, large, width-28), point{14, 23}, large, text, left)
		plan.draw(p, mapTop, bottom)
		s.band(p, f, bandsTop, lane, "As commanded, at full voltage", func(reel, _ int) colour.XYZ { return s.what.Reels[reel].Full })
		s.band(p, f, bandsTop+lane+bandHeading, lane, "As lit", func(reel, k int) colour.XYZ { return s.what.Reels[reel].Pixels[k].Light })
		for _, n := range panels {
			if err := n.draw(p); err != nil {
				return err
			}
		}
		return nil
	}}
}

// band draws the light of all reels, a column of the picture at a time, neighbours
// of the same colour in one piece.
func (s *seen) band(p pen, f frame, top, height float64, heading string, light func(reel, k int) colour.XYZ) {
	if width := p.measure(heading, small); width > 0 {
		p.box(ink{fill: paper}, f.left-2, top+2, f.left+width+4, top+bandHeading-5)
	}
	p.text(heading, point{f.left, top + 13}, small, text, left)
	top += bandHeading - 4
	p.box(ink{fill: night}, f.left, top, f.right, top+height)
	for i, r := range s.what.Reels {
		if i >= len(s.tracks) || len(r.Pixels) == 0 {
			continue
		}
		t := s.tracks[i]
		y := top + float64(t.lane)*bandHeight + 4
		x0, x1 := f.px(t.start-t.pitch/2), f.px(t.end()+t.pitch/2)
		begun, held := x0, drawing.Color{}
		for x := x0; x < x1; x++ {
			part := (math.Min(x+0.5, x1) - x0) / (x1 - x0)
			k := min(int(part*float64(len(r.Pixels))), len(r.Pixels)-1)
			if now := s.shown(light(i, k)); now != held {
				p.box(ink{fill: held}, begun, y, x, y+bandHeight-8)
				begun, held = x, now
			}
		}
		p.box(ink{fill: held}, begun, y, x1, y+bandHeight-8)
	}
}

func (s *seen) shown(c colour.XYZ) drawing.Color {
	b := colour.SRGB(c.Times(s.exposure))
	return drawing.Color{R: b[0], G: b[1], B: b[2], A: 255}
}

// panels are the curves under the bands.
func (s *seen) panels(top float64) []panel {
	limits := run.Limits{}
	if s.what.Run != nil {
		limits = s.what.Run.Limits
	}
	return []panel{
		s.curve("Volts at the pixels", math.NaN(), func(p colourloss.Pixel) float64 { return p.Volts }),
		s.curve("Distance in u'v' from the commanded colour; its limit dashed", limits.ColourShift, func(p colourloss.Pixel) float64 { return p.Shift }),
		s.curve("Brightness, % of that at full voltage; its limit dashed", 100*(1-limits.Dimming), func(p colourloss.Pixel) float64 { return 100 * p.Part }),
	}
}

func (s *seen) curve(heading string, limit float64, value func(colourloss.Pixel) float64) panel {
	n := panel{heading: heading}
	var e extent
	e.add(limit)
	for _, r := range s.what.Reels {
		for _, p := range r.Pixels {
			e.add(value(p))
		}
	}
	n.y = e.padded(0.08, 0.01, span{0, 1})
	n.layers = append(n.layers, func(p pen, f frame) {
		if drawable(limit) {
			p.line(ink{stroke: faulty, width: 1.25, dash: []float64{6, 4}}, point{f.left, f.py(limit)}, point{f.right, f.py(limit)})
		}
		for i, r := range s.what.Reels {
			if i >= len(s.tracks) {
				break
			}
			with := ink{stroke: stepInk(0).stroke, width: 2}
			if s.tracks[i].lane > 0 {
				with.width = 1.25
			}
			lines := trace(len(r.Pixels), func(k int) float64 { return f.px(s.tracks[i].at(k + 1)) },
				func(k int) float64 { return height(f, value(r.Pixels[k])) })
			for _, l := range lines {
				p.line(with, l...)
			}
		}
		s.mark(p, f, value)
	})
	return n
}

// mark draws a ring round the place that is examined.
func (s *seen) mark(p pen, f frame, value func(colourloss.Pixel) float64) {
	at := s.what.Worst.Place
	if at.Kind != run.AtReel || at.Index >= len(s.what.Reels) || at.Pixel < 1 || at.Pixel > len(s.what.Reels[at.Index].Pixels) {
		return
	}
	v := value(s.what.Reels[at.Index].Pixels[at.Pixel-1])
	if drawable(v) {
		c := verdictColour(s.what.Verdict)
		if s.what.Verdict == assessment.Pass {
			c = text
		}
		p.dot(ink{stroke: c, fill: pale(paper, 0), width: 2}, f.at(s.tracks[at.Index].at(at.Pixel), v), 5)
	}
}

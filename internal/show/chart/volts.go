package chart

import (
	"ohmkeep/internal/network/prediction"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// course is the potentials along all reels in one step.
type course struct {
	step  string
	reels []rails // by index of the run's reels; empty where nothing is known
}

// rails is the potentials along one reel, one entry a pixel.
type rails struct{ plus, minus, band []float64 }

// pair returns the voltage of a pixel, counted from 0.
func (r rails) pair(i int) float64 { return r.plus[i] - r.minus[i] }

// Fitted draws the volts along the fitted run in every step that was read, with
// the readings and the 95 % band. width is in pixels.
func Fitted(a *assessment.Assessment, width int) *Picture {
	v := volts{run: a.Run, width: float64(width), verdicts: map[string]assessment.Verdict{}}
	if v.run == nil {
		v.run = &run.Run{}
	}
	v.title = titled(v.run.Name, "Volts along the run")
	for _, e := range a.Elements {
		key := string(e.Kind) + " " + e.Name
		if e.Verdict == assessment.Fail || v.verdicts[key] == assessment.None {
			v.verdicts[key] = e.Verdict
		}
	}
	for _, p := range a.Profiles {
		c := course{step: p.Step, reels: make([]rails, len(v.run.Reels))}
		for _, r := range p.Reels {
			i := v.run.ReelIndex(r.Name)
			if i < 0 {
				continue
			}
			n := min(len(r.Plus), len(r.Minus))
			c.reels[i] = rails{plus: r.Plus[:n], minus: r.Minus[:n]}
			if len(r.Band) >= n {
				c.reels[i].band = r.Band[:n]
			}
		}
		v.courses = append(v.courses, c)
	}
	v.spots = spotsOf(v.run, v.courses, a.Readings)
	return v.picture()
}

// Predicted draws the volts along the run as its file states it.
func Predicted(p *prediction.Prediction, width int) *Picture {
	v := volts{run: p.Run, width: float64(width)}
	if v.run == nil {
		v.run = &run.Run{}
	}
	v.title = titled(v.run.Name, "Volts as predicted")
	c := course{step: p.Step, reels: make([]rails, len(v.run.Reels))}
	for _, r := range p.Reels {
		i := v.run.ReelIndex(r.Name)
		if i < 0 {
			continue
		}
		known := rails{plus: make([]float64, len(r.Pixels)), minus: make([]float64, len(r.Pixels))}
		for n, pixel := range r.Pixels {
			known.plus[n], known.minus[n] = pixel.Plus, pixel.Minus
		}
		c.reels[i] = known
	}
	v.courses = []course{c}
	return v.picture()
}

// titled puts the name of a run, if it has one, before what a picture shows.
func titled(name, shows string) string {
	if name == "" {
		return shows
	}
	return name + ": " + shows
}

// volts is the state of drawing the potentials along a run.
type volts struct {
	run      *run.Run
	title    string
	width    float64
	courses  []course
	spots    []spot
	verdicts map[string]assessment.Verdict // by kind and name, such as "joint west-north"
	tracks   []track
}

// Heights of the frames, px.
const (
	pairHeight = 230
	railHeight = 105
)

func (v *volts) picture() *Picture {
	v.tracks = placeReels(v.run)
	legend := v.legend()
	margin := 52.0
	x := stretch(v.tracks)
	f := frame{left: margin, right: v.width - 14, x: x}
	plan := v.plan(f)

	pictureTop := 30 + legend.height(v.width)
	mapTop := pictureTop + 6
	y := mapTop + plan.height() + 34
	pair := v.panelOf(inPair, "Plus against minus, volts", y, pairHeight)
	y += pairHeight + 36
	plus := v.panelOf(inPlus, "Plus conductor, volts", y, railHeight)
	y += railHeight + 36
	minus := v.panelOf(inMinus, "Minus conductor (how far the ground is lifted), volts", y, railHeight)
	sameScale(&plus.y, &minus.y)
	plus.yTicks, minus.yTicks = plus.y.ticks(4), minus.y.ticks(4)
	if v.empty() {
		pair.yTicks, plus.yTicks, minus.yTicks = nil, nil, nil
	}
	minus.xTicks = x.ticks(int(v.width / 80))
	minus.xTitle = "metres along the run"
	minus.below = 44

	panels := []*panel{&pair, &plus, &minus}
	for _, n := range panels {
		n.x, n.left, n.right, n.pictureExtent = x, f.left, f.right, v.width
		n.above = 30
	}
	return &Picture{title: v.title, width: v.width, height: y + railHeight + minus.below, draw: func(p pen) error {
		p.text(p.fit(v.title, large, v.width-28), point{14, 23}, large, text, left)
		legend.draw(p, 30, v.width)
		plan.draw(p, mapTop, y+railHeight)
		for _, n := range panels {
			if err := n.draw(p); err != nil {
				return err
			}
		}
		return nil
	}}
}

// panelOf returns the panel of one kind of potential.
func (v *volts) panelOf(kind int, heading string, top, height float64) panel {
	n := panel{heading: heading, top: top, height: height, y: v.span(kind)}
	n.yTicks = n.y.ticks(int(height / 36))
	if v.empty() {
		n.layers = append(n.layers, func(p pen, f frame) {
			p.text("nothing is known here", point{(f.left + f.right) / 2, (f.top + f.bottom) / 2}, body, faint, centre)
		})
	}
	for i := range v.courses {
		n.layers = append(n.layers, func(p pen, f frame) { v.drawCourse(p, f, i, kind) })
	}
	n.layers = append(n.layers, func(p pen, f frame) { v.drawSpots(p, f, kind) })
	return n
}

// empty reports whether no step is known along any reel.
func (v *volts) empty() bool {
	for _, c := range v.courses {
		for _, r := range c.reels {
			if len(r.plus) > 0 {
				return false
			}
		}
	}
	return true
}

// Kinds of potentials.
const (
	inPair = iota
	inPlus
	inMinus
)

func (r rails) value(kind, i int) float64 {
	switch kind {
	case inPlus:
		return r.plus[i]
	case inMinus:
		return r.minus[i]
	}
	return r.pair(i)
}

// span returns the range of a panel: every trace and its band, and the readings
// that do not contradict the others. A suspect one far off is drawn at the edge.
func (v *volts) span(kind int) span {
	var e extent
	for _, c := range v.courses {
		for _, r := range c.reels {
			for i := range r.plus {
				value := r.value(kind, i)
				e.add(value)
				if kind == inPair && r.band != nil {
					e.add(value-r.band[i], value+r.band[i])
				}
			}
		}
	}
	for _, s := range v.spots {
		if s.kind == kind && !s.suspect {
			e.add(s.value-s.reach, s.value+s.reach)
		}
	}
	near := e.padded(0.5, 0, span{0, 0}) // fixed before the loop, so that one suspect does not make room for another
	for _, s := range v.spots {
		if s.kind == kind && s.suspect && near.holds(s.value) {
			e.add(s.value)
		}
	}
	return e.padded(0.06, 0.05, span{0, 1})
}

// sameScale widens the narrower of two ranges, so that a volt has the same height in both and drops
// can be compared by eye.
func sameScale(a, b *span) {
	wide := max(a.max-a.min, b.max-b.min)
	for _, s := range []*span{a, b} {
		more := (wide - (s.max - s.min)) / 2
		s.min, s.max = s.min-more, s.max+more
	}
}

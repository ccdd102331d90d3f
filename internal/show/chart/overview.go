package chart

import "time"

// Bucket is what was measured at one place in one of the periods that an Overview shows.
type Bucket struct {
	From, To       time.Time
	N              int     // number of values; 0: Min, Mean and Max are not set
	Min, Mean, Max float64 // SI; °C for temperatures
}

// Event is something that happened at a moment of an Overview.
type Event struct {
	Time time.Time
	Text string
}

// Overview is the least, mean and greatest value of one place in each of many periods that follow
// one another.
type Overview struct {
	Title, Unit string
	Buckets     []Bucket
	Events      []Event
	Zone        *time.Location // of the time axis
}

// Draw draws the overview. width is in pixels.
func (o Overview) Draw(width int) *Picture {
	const height = 230
	legend := legend{
		{"mean", func(p pen, at point) {
			p.line(ink{stroke: text, width: 1.75}, point{at.x - 11, at.y}, point{at.x + 11, at.y})
		}},
		{"least to greatest", func(p pen, at point) { p.box(ink{fill: pale(sound, 80)}, at.x-11, at.y-6, at.x+11, at.y+6) }},
	}
	top := 30 + legend.height(float64(width)) + 34
	n := panel{heading: o.Unit, top: top, height: height, left: 62, right: float64(width) - 14, above: 30, below: 30,
		pictureExtent: float64(width), x: span{0, 1}, y: o.reach()}
	if k := len(o.Buckets); k > 0 && o.Buckets[k-1].To.After(o.Buckets[0].From) {
		n.x = span{exact(o.Buckets[0].From), exact(o.Buckets[k-1].To)}
		n.xTicks = times(n.x, width/90, o.Zone)
	}
	n.yTicks = n.y.ticks(6)
	n.layers = append(n.layers, o.drawRange, o.drawMean, o.drawEvents)
	if !o.any() {
		n.yTicks = nil
		n.layers = append(n.layers, func(p pen, f frame) {
			p.text("nothing was measured in this time", point{(f.left + f.right) / 2, (f.top + f.bottom) / 2}, body, faint, centre)
		})
	}
	return &Picture{title: o.Title, width: float64(width), height: top + height + n.below, draw: func(p pen) error {
		p.text(p.fit(o.Title, large, float64(width)-28), point{14, 23}, large, text, left)
		legend.draw(p, 30, float64(width))
		return n.draw(p)
	}}
}

func (o Overview) any() bool {
	for _, b := range o.Buckets {
		if b.N > 0 {
			return true
		}
	}
	return false
}

func (o Overview) reach() span {
	var e extent
	for _, b := range o.Buckets {
		if b.N > 0 {
			e.add(b.Min, b.Max)
		}
	}
	least := (e.max - e.min) / 10
	if e.any {
		least = max(least, 0.002*max(e.max, -e.min), 1e-4)
	}
	return e.padded(0.06, least, span{0, 1})
}

// drawRange draws a box from the least to the greatest value of each period.
func (o Overview) drawRange(p pen, f frame) {
	for _, b := range o.Buckets {
		if b.N == 0 || !drawable(b.Min) || !drawable(b.Max) {
			continue
		}
		x0, x1 := f.px(exact(b.From)), f.px(exact(b.To))
		y0, y1 := f.py(b.Max), f.py(b.Min)
		if y1-y0 < 1 {
			y0, y1 = (y0+y1)/2-0.5, (y0+y1)/2+0.5
		}
		p.box(ink{fill: pale(sound, 80)}, x0, y0, x1, y1)
	}
}

// drawMean joins the means of periods that follow one another; a period without values is a gap.
func (o Overview) drawMean(p pen, f frame) {
	var line []point
	end := func() {
		if len(line) == 1 {
			line = []point{{line[0].x - 1.5, line[0].y}, {line[0].x + 1.5, line[0].y}}
		}
		p.line(ink{stroke: text, width: 1.5}, line...)
		line = nil
	}
	for _, b := range o.Buckets {
		if b.N == 0 || !drawable(b.Mean) {
			end()
			continue
		}
		line = append(line, f.at((exact(b.From)+exact(b.To))/2, b.Mean))
	}
	end()
}

// drawEvents marks what happened, with its text where there is room.
func (o Overview) drawEvents(p pen, f frame) {
	free := f.left
	for _, e := range o.Events {
		at := exact(e.Time)
		if !f.x.holds(at) {
			continue
		}
		x := f.px(at)
		p.line(ink{stroke: faint, width: 1, dash: []float64{2, 3}}, point{x, f.top}, point{x, f.bottom})
		word := p.fit(e.Text, small, 150)
		wide := p.measure(word, small) + 8
		place := x + 4
		if x+wide > f.right {
			place = x - wide
		}
		if place >= free {
			p.text(word, point{place, f.top + 12}, small, faint, left)
			free = place + wide
		}
	}
}

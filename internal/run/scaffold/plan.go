package scaffold

import (
	"fmt"
	"math"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run/conductor"
)

// plan is the input of the run file's template: the options and values computed from them.
type plan struct {
	Options
	Reels      []reel
	Feeds      []feed
	Steps      []step
	Ranges     []meterRange
	DesignStep string
	Fuse       float64 // A, 0 = none fits
	Rating     float64 // A, of the feeds' cable
	RatingBy   string
	tooMuch    error // not nil where supply or fuses cannot carry even the dimmest step
}

type reel struct {
	Name   string
	Metres float64
}

type feed struct {
	Name, To string
	Metres   float64
}

type step struct {
	Name  string
	Level float64
}

// meterRange is one range of the hand meter in a new run file, with the accuracy of a cheap
// multimeter (common practice, no source).
type meterRange struct {
	Quantity                          string
	UpTo, Resolution, Percent, Counts float64
}

var handMeter = []meterRange{
	{"voltage", 0.6, 0.0001, 0.5, 3},
	{"voltage", 6, 0.001, 0.5, 3},
	{"voltage", 60, 0.01, 0.5, 3},
	{"current", 6, 0.001, 1.5, 3},
	{"current", 60, 0.01, 1.5, 3},
	{"temperature", 100, 0.1, 1, 10},
}

const (
	headroom = 0.8 // largest current of a step, as a part of the rating of supply or fuse
	uneven   = 0.7 // largest current of one of two feeds, as a part of the whole
)

// fuses are the sizes that are sold, A, largest first; whites are the levels of white that a
// step may have, % (common practice, no source).
var (
	fuses  = []float64{30, 25, 20, 15, 10, 7.5, 5, 4, 3, 2, 1}
	whites = []float64{1, 2, 5, 10, 20, 40, 60, 100}
)

func (o Options) plan() plan {
	p := plan{Options: o, Ranges: handMeter}
	for i, metres := range o.ReelMetres {
		p.Reels = append(p.Reels, reel{fmt.Sprintf("R%d", i+1), metres})
	}
	p.feeds()
	p.rate()
	p.steps()
	return p
}

// pixels returns the number of pixels of a reel of a length, m, as runfile computes it.
func (o Options) pixels(metres float64) float64 { return math.Round(metres * o.PixelsPerMetre) }

func (o Options) allPixels() (n float64) {
	for _, metres := range o.ReelMetres {
		n += o.pixels(metres)
	}
	return n
}

func (p *plan) feeds() {
	if len(p.Reels) == 0 {
		return
	}
	switch p.Fed {
	case Start:
		p.Feeds = []feed{{"near", "R1.start", p.FeedMetres}}
	case Both:
		p.Feeds = []feed{{"near", "R1.start", p.FeedMetres}, {"far", fmt.Sprintf("R%d.end", len(p.Reels)), p.FarMetres}}
	case Middle:
		p.Feeds = []feed{{"middle", p.middle(), p.FeedMetres}}
	}
}

// middle names the middle pixel of the whole run.
func (p *plan) middle() string {
	at := math.Ceil(p.allPixels() / 2)
	for _, r := range p.Reels {
		if at <= p.pixels(r.Metres) {
			return fmt.Sprintf("%s.%.0f", r.Name, math.Max(at, 1))
		}
		at -= p.pixels(r.Metres)
	}
	return "R1.start" // only with invalid lengths, which runfile reports
}

// rate finds the largest fuse that the feeds' cable allows.
func (p *plan) rate() {
	stranding := ""
	if p.Fine {
		stranding = "fine"
	}
	wire, err := conductor.Parse(p.Conductor, p.Material, stranding)
	if err != nil {
		return // runfile reports it
	}
	var ok bool
	if p.Rating, p.RatingBy, ok = wire.Ampacity(); !ok {
		return
	}
	p.Rating = math.Floor(p.Rating*100) / 100
	for _, size := range fuses {
		if size <= p.Rating {
			p.Fuse = size
			return
		}
	}
}

// steps chooses the brightest white that supply and fuses carry with headroom, and a dimmer
// one.
func (p *plan) steps() {
	most := headroom * p.SupplyAmps
	carries := p.Fuse
	if p.Fuse == 0 {
		carries = p.Rating
	}
	if len(p.Feeds) == 2 {
		carries /= uneven
	}
	if carries > 0 {
		most = math.Min(most, headroom*carries)
	}
	channels := 3.0
	if p.White {
		channels = 4
	}
	idle := p.allPixels() * p.IdleMilliamps / 1000
	full := p.allPixels() * channels * p.ChannelMilliamps / 1000
	brightest := -1
	for i, percent := range whites {
		if idle+full*percent/100 <= most {
			brightest = i
		}
	}
	if brightest < 0 {
		p.tooMuch = fault.List{{Key: "supply.amps",
			Text: fmt.Sprintf("%g %% white draws %.3g A, and supply, cable and fuses carry %.3g A with headroom", whites[0], idle+full*whites[0]/100, most),
			Hint: "a larger supply, a thicker cable, a second feed, or a shorter run"}}
		return
	}
	for _, i := range []int{brightest - 2, brightest} {
		if i >= 0 {
			p.Steps = append(p.Steps, step{fmt.Sprintf("white %g %%", whites[i]), whites[i] / 100})
		}
	}
	p.DesignStep = p.Steps[len(p.Steps)-1].Name
}

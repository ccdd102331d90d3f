package remedy

import (
	"fmt"
	"math"

	"ohmkeep/internal/conductor"
	"ohmkeep/internal/run"
)

// Kind is what a repair does.
type Kind string

const (
	Lower      Kind = "lower the limiter"
	Trim       Kind = "trim a supply"
	Remake     Kind = "remake a joint"
	Renew      Kind = "renew a feed"
	FarFeed    Kind = "feed a far end"
	MiddleFeed Kind = "feed the middle"
	NewSupply  Kind = "a supply at the far end"
)

// Repair is one thing that could be done.
type Repair struct {
	Kind     Kind
	Text     string // what to do, in words
	Labour   int    // points, see the labour classes
	Material float64
	Cautions []string
	// Fuse is the largest that protects the new feed's wire, A; 0 where none is laid.
	Fuse float64

	edit    edit
	touches string // what no other repair of a pair may touch as well
}

// Cost is labour and material together.
func (r Repair) Cost() float64 { return float64(r.Labour) + r.Material }

// Classes of labour, in points (common practice, no source): how long, how far up
// the ladder, and whether somebody else has to come.
const (
	setting     = 0 // at the controller
	screwdriver = 1 // a trimmer
	soldering   = 2 // one joint, disconnected, cleaned and soldered
	laying      = 4 // a cable to an end
	opening     = 6 // a cable into the strip's length, under its cover
	mains       = 9 // another supply, whose mains side a licensed person connects
)

// Material, in points (common practice, no source): wire by its copper, and a supply.
const (
	wirePoints   = 0.1 // per metre and mm² of each of the two conductors
	supplyPoints = 4
)

// overVolts is how far above its rated volts a pixel may be kept (common practice,
// no source: 5 V ± 5 %).
const overVolts = 0.05

// proposer lists repairs.
type proposer struct {
	k       Known
	options Options
	list    []Repair
	assumed []string
}

// propose lists what could be done, whatever it is worth.
func propose(k Known, o Options) (list []Repair, assumed []string) {
	p := &proposer{k: k, options: o}
	p.trim()
	p.remake()
	p.renew()
	p.lay()
	return p.list, p.assumed
}

func (p *proposer) add(r Repair) { p.list = append(p.list, r) }

// assume notes what a proposal takes for granted, once.
func (p *proposer) assume(format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	for _, have := range p.assumed {
		if have == text {
			return
		}
	}
	p.assumed = append(p.assumed, text)
}

// trim turns each supply up to what the pixels bear. In the dark next to nothing
// drops, so the pixel next to a supply gets all of its volts.
func (p *proposer) trim() {
	r := p.k.Run
	rated := math.Inf(1)
	for _, reel := range r.Reels {
		rated = math.Min(rated, reel.Strip.Volts)
	}
	most := math.Floor(rated*(1+overVolts)*100+1e-6) / 100
	for i, s := range r.Supplies {
		now := p.k.Best.Parameters.Supplies[i].Volts
		up := most - now
		if up < 0.02 || !p.feeds(i) {
			continue
		}
		if p.k.Read { // the meter's own error: what is read may be less than there is
			up -= 0.005 * rated
		}
		if up < 0.02 {
			continue
		}
		p.add(Repair{Kind: Trim, touches: "supply " + s.Name, Labour: screwdriver,
			Text: fmt.Sprintf("trim supply %s from %.2f V to %.2f V", s.Name, now, now+up),
			edit: edit{trimmed: map[int]float64{i: s.Volts + up}},
			Cautions: []string{fmt.Sprintf("Trim with every pixel dark and a meter on the pixel next to supply %s: no pixel above %.2f V, which is %.0f %% over its rating; its data sheet decides. Use an insulated driver: mains terminals are beside the trimmer.",
				s.Name, most, 100*overVolts)}})
	}
}

// feeds tells whether anything hangs on a supply.
func (p *proposer) feeds(supply int) bool {
	for _, f := range p.k.Run.Feeds {
		if f.From.Kind == run.AtSupply && f.From.Index == supply {
			return true
		}
	}
	return false
}

const (
	disconnect = "Disconnect the supply before soldering."
	licensed   = "The mains side of a supply is the work of licensed people; local codes decide."
)

func (p *proposer) remake() {
	r := p.k.Run
	for _, i := range p.k.Joints {
		name := r.Joints[i].Name
		p.add(Repair{Kind: Remake, touches: "joint " + name, Labour: soldering, Text: "remake joint " + name,
			edit: edit{joints: []int{i}}, Cautions: []string{disconnect}})
	}
	if n := len(p.k.Joints); n > 1 {
		p.add(Repair{Kind: Remake, touches: "joints", Labour: n * soldering, Text: fmt.Sprintf("remake all %d failing joints", n),
			edit: edit{joints: p.k.Joints}, Cautions: []string{disconnect}})
	}
	if len(p.k.Joints) > 0 {
		p.assume("A remade joint is taken at %.3g mΩ, or less where it has less.", 1000*remadeOhms)
	}
}

// renew lays each feed anew: as stated where it fails, thicker, and shorter.
func (p *proposer) renew() {
	for i, f := range p.k.Run.Feeds {
		if f.Length <= 0 || f.Conductor == "" {
			continue
		}
		for _, bad := range p.k.Feeds {
			if bad == i {
				p.rewire(i, f, f.Conductor, f.Length, "renew feed %s as its file states, %s")
			}
		}
		size := f.Conductor
		for range 2 {
			var ok bool
			if size, ok = thicker(size, f); !ok {
				break
			}
			p.rewire(i, f, size, f.Length, "renew feed %s with %s")
		}
		if f.Length >= 1 && f.From.Kind == run.AtSupply && p.alone(f.From) {
			p.rewire(i, f, f.Conductor, f.Length/2, "hang supply "+p.k.Run.PlaceName(f.From)+" nearer: feed %s of half the length, %s")
			last := &p.list[len(p.list)-1]
			last.Labour = mains
			last.Cautions = append(last.Cautions, licensed)
		}
	}
}

// alone tells whether one feed only begins at a supply, which can be hung elsewhere then.
func (p *proposer) alone(at run.Place) bool {
	n := 0
	for _, f := range p.k.Run.Feeds {
		if f.From == at {
			n++
		}
	}
	return n == 1
}

func thicker(size string, f run.Feed) (string, bool) {
	wire, err := conductor.Parse(size, f.Material, f.Stranding)
	if err != nil {
		return "", false
	}
	return wire.Thicker()
}

func (p *proposer) rewire(i int, f run.Feed, size string, metres float64, text string) {
	laid, ok := p.cable(f, size, metres)
	if !ok {
		return
	}
	// The fuse that the run has now stays where it protects the wire.
	if f.Fuse > 0 && f.Fuse <= laid.Ampacity {
		laid.Fuse = f.Fuse
	}
	p.add(Repair{Kind: Renew, touches: "feed " + f.Name, Labour: laying, Material: copper(laid), Fuse: laid.Fuse,
		Text: fmt.Sprintf(text, f.Name, fmt.Sprintf("%.3g m of %s", metres, size)),
		edit: edit{rewired: map[int]run.Feed{i: laid}}, Cautions: []string{disconnect, fuseIt(laid)}})
}

// cable is a feed of a size and length, with the connectors that the run's limits
// allow and the largest fuse that its wire bears.
func (p *proposer) cable(like run.Feed, size string, metres float64) (run.Feed, bool) {
	wire, err := conductor.Parse(size, like.Material, like.Stranding)
	if err != nil {
		return run.Feed{}, false
	}
	f := like
	f.Conductor, f.Length = size, metres
	f.WireOhms = 2 * metres * wire.OhmsPerMetre(20)
	f.Ohms = f.WireOhms + p.k.Run.Limits.ConnectorOhms
	f.TempCo = wire.TempCo()
	f.Stated = false
	f.Ampacity, f.AmpacityBy, _ = wire.Ampacity()
	f.Fuse = fuseFor(f.Ampacity)
	p.assume("New feeds are taken with %.3g mΩ of connectors.", 1000*p.k.Run.Limits.ConnectorOhms)
	return f, true
}

// fuses are the blade fuses that are sold (common practice, no source).
var fuses = []float64{1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 40}

func fuseFor(ampacity float64) float64 {
	best := 0.0
	for _, f := range fuses {
		if f <= ampacity {
			best = f
		}
	}
	return best
}

func fuseIt(f run.Feed) string {
	if fuseFor(f.Ampacity) == 0 {
		return "Fuse the new feed near its supply."
	}
	return fmt.Sprintf("Fuse a feed of %s near its supply with %.3g A at most (%.3g A by %s; local codes decide).", f.Conductor, fuseFor(f.Ampacity), f.Ampacity, f.AmpacityBy)
}

func copper(f run.Feed) float64 {
	wire, err := conductor.Parse(f.Conductor, f.Material, f.Stranding)
	if err != nil {
		return 0
	}
	return 2 * wirePoints * f.Length * wire.Area()
}

// usualConductor is what a new feed is of where the nearest feed states none.
const usualConductor = "1.5 mm2"

// model is the feed that new feeds are like: the nearest that lands on the strip.
func (p *proposer) model(i int) run.Feed {
	f := p.k.Run.Feeds[i]
	if p.options.Conductor != "" {
		f.Conductor, f.Material, f.Stranding = p.options.Conductor, "copper", "fine"
	} else if f.Conductor == "" {
		f.Conductor, f.Material, f.Stranding = usualConductor, "copper", "fine"
		p.assume("Feed %s states no conductor; new ones are taken as %s.", f.Name, usualConductor)
	}
	return f
}

// roomy is the thinnest size from the model's up that keeps a feed's drop at a
// current; "" where none is sold.
func (p *proposer) roomy(like run.Feed, metres, amps, volts float64) string {
	size, ok := like.Conductor, true
	for ok {
		if f, sold := p.cable(like, size, metres); sold && f.Ohms*amps <= p.k.Run.Limits.FeedDrop*volts && f.Ampacity >= amps {
			return size
		}
		size, ok = thicker(size, like)
	}
	return ""
}

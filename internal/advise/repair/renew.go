package repair

import (
	"fmt"

	"ohmkeep/internal/network/limits"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/conductor"
)

// renew proposes a new cable for each feed: as stated where it fails, thicker, and shorter.
func (p *proposer) renew() {
	for i, f := range p.k.Run.Feeds {
		if f.Length <= 0 || f.Conductor == "" {
			continue
		}
		for _, bad := range p.k.FailingFeeds {
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
			p.rewire(i, f, f.Conductor, f.Length/2, "move supply "+p.k.Run.PlaceName(f.From)+" nearer: feed %s of half the length, %s")
			last := &p.list[len(p.list)-1]
			last.Labour = mains
			last.Cautions = append(last.Cautions, licensed)
		}
	}
}

// alone reports whether a supply has a single feed, so that it can be mounted nearer to the strip.
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
	kept := laid
	kept.Fuse = f.Fuse
	if f.Fuse > 0 && limits.FuseProtects(kept) {
		laid = kept
	}
	p.add(Repair{Kind: Renew, touches: "feed " + f.Name, Labour: laying, Material: copper(laid), Fuse: laid.Fuse,
		Text: fmt.Sprintf(text, f.Name, fmt.Sprintf("%.3g m of %s", metres, size)),
		edit: edit{rewired: map[int]run.Feed{i: laid}}, Cautions: []string{disconnect, fuseIt(laid)}})
}

// cable returns a feed of a size and length, with the connectors that the run's limits allow and
// the largest fuse that protects its wire.
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
	p.assume("New feeds are assumed to have %.3g mΩ of connectors.", 1000*p.k.Run.Limits.ConnectorOhms)
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

// usualConductor is the conductor of a new feed where the nearest feed states none.
const usualConductor = "1.5 mm2"

// model returns the feed that new feeds are like: the nearest one that ends on the strip.
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

// roomy returns the thinnest size, not thinner than the model's, that keeps a feed's drop within its
// limit at a current in A; "" where none is sold.
func (p *proposer) roomy(like run.Feed, metres, amps, volts float64) string {
	size, ok := like.Conductor, true
	for ok {
		if f, sold := p.cable(like, size, metres); sold && f.Ohms*amps <= p.k.Run.Limits.FeedDrop*volts && limits.OfWire(f, amps).Holds() && limits.OfFuse(f, amps).Holds() {
			return size
		}
		size, ok = thicker(size, like)
	}
	return ""
}

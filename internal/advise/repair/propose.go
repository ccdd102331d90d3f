package repair

import (
	"fmt"
	"math"
	"strings"

	"ohmkeep/internal/network/limits"
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

// Repair is one possible repair.
type Repair struct {
	Kind     Kind
	Text     string // what to do, in words
	Labour   int    // points, see the labour classes
	Material float64
	Cautions []string
	// Fuse is the largest that protects the new feed's wire, A; 0 where none is laid.
	Fuse float64

	edit    edit
	touches string // the part of the run that no other repair of a pair may change
}

// Cost is labour and material together.
func (r Repair) Cost() float64 { return float64(r.Labour) + r.Material }

// Classes of labour, in points (common practice, no source): how long, how far up
// the ladder, and whether a licensed person is needed.
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

// overVolts is the greatest overvoltage of a pixel, as a part of its rated volts (common practice,
// no source: 5 V ± 5 %).
const overVolts = 0.05

// proposer lists repairs.
type proposer struct {
	k       Basis
	step    run.Step // to be carried
	options Options
	list    []Repair
	assumed []string
}

// propose lists every repair that applies to the run.
func propose(k Basis, step run.Step, o Options) (list []Repair, assumed []string) {
	p := &proposer{k: k, step: step, options: o}
	if knees := limits.AssumedKnees(k.Run, step); knees != "" {
		p.assume("%s.", strings.ToUpper(knees[:1])+knees[1:])
	}
	p.trim()
	p.remake()
	p.renew()
	p.proposeFeeds()
	return p.list, p.assumed
}

func (p *proposer) add(r Repair) { p.list = append(p.list, r) }

// assume adds an assumption of a proposal, once.
func (p *proposer) assume(format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	for _, have := range p.assumed {
		if have == text {
			return
		}
	}
	p.assumed = append(p.assumed, text)
}

// trim proposes the highest voltage of each supply that the pixels allow. With all pixels dark there
// is hardly any drop, so the pixel next to a supply receives its full voltage.
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
		if p.k.FromReadings { // the meter may read low
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

// feeds reports whether any feed begins at a supply.
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
	for _, i := range p.k.FailingJoints {
		name := r.Joints[i].Name
		p.add(Repair{Kind: Remake, touches: "joint " + name, Labour: soldering, Text: "remake joint " + name,
			edit: edit{joints: []int{i}}, Cautions: []string{disconnect}})
	}
	if n := len(p.k.FailingJoints); n > 1 {
		p.add(Repair{Kind: Remake, touches: "joints", Labour: n * soldering, Text: fmt.Sprintf("remake all %d failing joints", n),
			edit: edit{joints: p.k.FailingJoints}, Cautions: []string{disconnect}})
	}
	if len(p.k.FailingJoints) > 0 {
		p.assume("A remade joint is assumed to have %.3g mΩ, or less where it has less.", 1000*remadeOhms)
	}
}

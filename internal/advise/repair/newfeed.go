package repair

import (
	"fmt"
	"math"

	"ohmkeep/internal/advise/loadlimit"
	"ohmkeep/internal/run"
)

// proposeFeeds proposes feeds at the free ends and in the middle of the strip.
func (p *proposer) proposeFeeds() {
	r := p.k.Run
	var landings []run.Place
	var feeds []int
	for i, f := range r.Feeds {
		if f.To.Kind == run.AtReel {
			landings, feeds = append(landings, f.To), append(feeds, i)
		}
	}
	if len(landings) == 0 {
		return
	}
	way := measure(r, landings)
	for _, end := range freeEnds(r) {
		metres, nearest := way.at(end)
		if math.IsInf(metres, 1) || metres < minFeedSpacing {
			continue
		}
		near := feeds[nearest]
		p.sameSupply(FarFeed, laying, near, end, metres)
		p.otherSupply(near, landings[nearest], end, way)
	}
	if farthest, metres := way.farthest(); metres >= minFeedSpacing {
		_, nearest := way.at(farthest)
		middle := farthest
		for _, end := range freeEnds(r) {
			if end == farthest {
				middle = way.middle(r, farthest)
			}
		}
		metres, _ = way.at(middle)
		p.sameSupply(MiddleFeed, opening, feeds[nearest], middle, metres)
	}
}

// minFeedSpacing is the length of strip, m, from the nearest feed below which another feed is not
// proposed.
const minFeedSpacing = 0.5

// sameSupply proposes a feed from where the nearest one begins, of its conductor and
// of the thinnest one that keeps the drop for half of the run's current.
func (p *proposer) sameSupply(kind Kind, labour, near int, to run.Place, along float64) {
	r := p.k.Run
	like := p.model(near)
	metres := p.options.FarMetres
	if metres == 0 {
		if r.Feeds[near].Length <= 0 {
			p.assume("Feed %s states no length, so none is known for one to %s; say it with --far-metres.", like.Name, r.PlaceName(to))
			return
		}
		metres = along + r.Feeds[near].Length
		p.assume("The feed to %s is %.3g m: %.3g m along the strip and the %.3g m of feed %s again; --far-metres changes that.",
			r.PlaceName(to), metres, along, r.Feeds[near].Length, like.Name)
	}
	like.Name, like.To = "to "+r.PlaceName(to), to
	mix, level := loadlimit.MixOf(p.step)
	amps := mix.Limiter(r, level) / 2
	sizes := []string{like.Conductor}
	if size := p.roomy(like, metres, amps, r.SupplyOf(near).Volts); size != "" && size != like.Conductor {
		sizes = append(sizes, size)
	}
	from := r.PlaceName(like.From)
	for _, size := range sizes {
		laid, ok := p.cable(like, size, metres)
		if !ok {
			continue
		}
		p.add(Repair{Kind: kind, touches: "feed at " + r.PlaceName(to), Labour: labour, Material: copper(laid), Fuse: laid.Fuse,
			Text: fmt.Sprintf("feed %s from %s too, %.3g m of %s", r.PlaceName(to), from, metres, size),
			edit: edit{laid: []run.Feed{laid}}, Cautions: []string{disconnect, fuseIt(laid)}})
	}
}

// otherSupply proposes a second supply at a far end for each joint at which the plus
// could be cut, so that the two plus rails never meet.
func (p *proposer) otherSupply(near int, landing, end run.Place, way distances) {
	r := p.k.Run
	like := p.model(near)
	supply := r.SupplyOf(near)
	metres := r.Feeds[near].Length
	if p.options.FarMetres > 0 {
		metres = p.options.FarMetres
	}
	if metres <= 0 {
		return
	}
	supply.Name = "second"
	for n := 2; taken(r, supply.Name); n++ {
		supply.Name = fmt.Sprintf("second %d", n)
	}
	like.Name, like.To = "to "+r.PlaceName(end), end
	back := measure(r, []run.Place{end})
	total, _ := way.at(end)
	for i, j := range r.Joints {
		at := run.Place{Kind: run.AtReel, Index: j.To, Pixel: 1}
		here, _ := way.at(at)
		there, _ := back.at(at)
		if j.PlusCut || here+there > total+2*r.Reels[j.To].SegmentLength() {
			continue // not on the way
		}
		laid, ok := p.cable(like, like.Conductor, metres)
		if !ok {
			continue
		}
		e := edit{laid: []run.Feed{laid}, added: &supply, parted: i}
		changed := e.run(r)
		if len(changed.Paralleled()) > len(r.Paralleled()) || len(changed.Unreached(run.Plus)) > 0 {
			continue // another feed connects both sides of the cut
		}
		p.assume("The second supply is like %s: %.3g V, %.3g A, with a feed of %.3g m.", r.SupplyOf(near).Name, supply.Volts, supply.Amps, metres)
		p.add(Repair{Kind: NewSupply, touches: "feed at " + r.PlaceName(end), Labour: mains, Material: copper(laid) + supplyPoints, Fuse: laid.Fuse,
			Text: fmt.Sprintf("a second supply at %s, the plus cut at joint %s", r.PlaceName(end), j.Name),
			edit: e, Cautions: []string{
				"Part the plus at joint " + j.Name + " before the second supply is connected, and keep the minus common: two plus rails must never meet, and data needs the one ground.",
				licensed, disconnect, fuseIt(laid)}})
	}
}

// taken reports whether a supply or junction has a name already.
func taken(r *run.Run, name string) bool {
	for _, s := range r.Supplies {
		if s.Name == name {
			return true
		}
	}
	for _, j := range r.Junctions {
		if j.Name == name {
			return true
		}
	}
	return false
}

package colourloss

import (
	"cmp"
	"math"
	"slices"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/numeric/shapley"
	"ohmkeep/internal/run"
)

const (
	// mostPlayers is the greatest number of players. Each further one doubles the number of
	// solutions, so the causes with the least effect at the pixel are taken together.
	mostPlayers = 8
	// ideal is the resistance of an ideal conductor, Ω, of one rail of a joint or feed; a segment of
	// a reel has a hundredth of it.
	ideal = 1e-6
	// opening is the resistance, Ω, above which a conductor's effect does not follow from the gradient.
	opening = 10
)

// player is one cause or several taken together.
type player struct {
	kind   run.Kind
	which  []int // into supplies, feeds or joints; none for the copper
	effect float64
}

// rated returns the volts that a supply should hold: those of the strip that it
// feeds first.
func (m *maker) rated(supply int) float64 {
	at := map[run.Place]bool{{Kind: run.AtSupply, Index: supply}: true}
	for range m.run.Feeds { // each round reaches one feed further
		for _, f := range m.run.Feeds {
			if at[f.From] && f.To.Kind == run.AtReel {
				return m.run.Reels[f.To.Index].Strip.Volts
			}
			if at[f.From] {
				at[f.To] = true
			}
		}
	}
	return m.run.Reels[0].Strip.Volts
}

// players lists the causes, at most mostPlayers; those with the least effect to
// first order are taken together, kind by kind.
func (m *maker) players(g *ladder.Gradient) []player {
	loop := func(kind run.Kind, i int, r, slope ladder.Rails) player {
		if math.IsInf(r.Plus, 1) { // cut on purpose, no effect of its own
			r.Plus = 0
		}
		effect := math.Abs(r.Plus*slope.Plus + r.Minus*slope.Minus)
		if math.Max(r.Plus, r.Minus) > opening {
			effect = math.Inf(1)
		}
		return player{kind, []int{i}, effect}
	}
	var list []player
	for i, s := range m.real.Supplies {
		effect := math.Abs((s.Volts-m.rated(i))*g.Supplies[i].Volts) + math.Abs(s.Ohms*g.Supplies[i].Ohms)
		list = append(list, player{run.KindSupply, []int{i}, effect})
	}
	for i, f := range m.real.Feeds {
		list = append(list, loop(run.KindFeed, i, f, g.Feeds[i]))
	}
	for i, j := range m.real.Joints {
		list = append(list, loop(run.KindJoint, i, j, g.Joints[i]))
	}
	copper := player{kind: run.KindReel}
	if len(list) < mostPlayers {
		return append(list, copper)
	}
	// Room for the copper and for what is taken together of each of three kinds.
	slices.SortStableFunc(list, func(a, b player) int { return cmp.Compare(b.effect, a.effect) })
	kept := list[:mostPlayers-4]
	for _, kind := range []run.Kind{run.KindSupply, run.KindFeed, run.KindJoint} {
		rest := player{kind: kind}
		for _, p := range list[mostPlayers-4:] {
			if p.kind == kind {
				rest.which = append(rest.which, p.which...)
			}
		}
		if len(rest.which) > 0 {
			kept = append(kept[:len(kept):len(kept)], rest)
		}
	}
	return append(kept, copper)
}

// coalition writes the parameters in which the players of a set are as fitted or stated and all
// others are ideal.
func (m *maker) coalition(players []player, s shapley.Set, to *ladder.Parameters) {
	copy(to.Supplies, m.real.Supplies)
	copy(to.Feeds, m.real.Feeds)
	copy(to.Joints, m.real.Joints)
	copy(to.Reels, m.real.Reels)
	for i, p := range players {
		if s.Has(i) {
			continue
		}
		for _, k := range p.which {
			switch p.kind {
			case run.KindSupply:
				to.Supplies[k] = ladder.Source{Volts: m.rated(k)}
			case run.KindFeed:
				to.Feeds[k] = ladder.Rails{Plus: ideal, Minus: ideal}
			case run.KindJoint:
				to.Joints[k].Minus = ideal
				if !m.run.Joints[k].PlusCut {
					to.Joints[k].Plus = ideal
				}
			}
		}
		if p.kind == run.KindReel {
			for k := range to.Reels {
				to.Reels[k] = ladder.Rails{Plus: ideal / 100, Minus: ideal / 100}
			}
		}
	}
}

// clearIdeal sets to zero the derivatives with respect to the ideal players, those outside the
// coalition.
func clearIdeal(players []player, s shapley.Set, g *ladder.Gradient) {
	for i, p := range players {
		if s.Has(i) {
			continue
		}
		for _, k := range p.which {
			switch p.kind {
			case run.KindSupply:
				g.Supplies[k] = ladder.Source{}
			case run.KindFeed:
				g.Feeds[k] = ladder.Rails{}
			case run.KindJoint:
				g.Joints[k] = ladder.Rails{}
			}
		}
		if p.kind == run.KindReel {
			clear(g.Reels)
		}
	}
}

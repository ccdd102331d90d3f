package ladder

import "ohmkeep/internal/run"

// parts groups the supplies, junctions and reels that are connected by any conductor
// (union–find with path halving).
type parts struct {
	run    *run.Run
	parent []int
	// by supply and junction: has a feed
	supplyUsed, junctionUsed []bool
}

func newParts(r *run.Run) *parts {
	p := &parts{run: r, supplyUsed: make([]bool, len(r.Supplies)), junctionUsed: make([]bool, len(r.Junctions))}
	p.parent = make([]int, len(r.Supplies)+len(r.Junctions)+len(r.Reels))
	for i := range p.parent {
		p.parent[i] = i
	}
	for _, f := range r.Feeds {
		p.join(p.place(f.From), p.place(f.To))
		for _, end := range []run.Place{f.From, f.To} {
			switch end.Kind {
			case run.AtSupply:
				p.supplyUsed[end.Index] = true
			case run.AtJunction:
				p.junctionUsed[end.Index] = true
			}
		}
	}
	for _, j := range r.Joints {
		p.join(p.reel(j.From), p.reel(j.To))
	}
	return p
}

func (p *parts) supply(i int) int   { return i }
func (p *parts) junction(i int) int { return len(p.run.Supplies) + i }
func (p *parts) reel(i int) int     { return len(p.run.Supplies) + len(p.run.Junctions) + i }

func (p *parts) place(at run.Place) int {
	switch at.Kind {
	case run.AtSupply:
		return p.supply(at.Index)
	case run.AtJunction:
		return p.junction(at.Index)
	}
	return p.reel(at.Index)
}

func (p *parts) find(i int) int {
	for p.parent[i] != i {
		p.parent[i] = p.parent[p.parent[i]]
		i = p.parent[i]
	}
	return i
}

func (p *parts) join(a, b int) { p.parent[p.find(a)] = p.find(b) }

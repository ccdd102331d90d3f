package run

// rails groups supplies, junctions and reels by what one rail's copper joins,
// as a forest: each node points towards the head of its group.
type rails []int

func (f rails) head(node int) int {
	for f[node] != node {
		f[node] = f[f[node]]
		node = f[node]
	}
	return node
}

// node numbers what a place is part of: supplies first, then junctions, then reels.
func (r *Run) node(p Place) int {
	switch p.Kind {
	case AtSupply:
		return p.Index
	case AtJunction:
		return len(r.Supplies) + p.Index
	}
	return len(r.Supplies) + len(r.Junctions) + p.Index
}

// joined follows one rail over feeds and joints.
func (r *Run) joined(rail Rail) rails {
	f := make(rails, len(r.Supplies)+len(r.Junctions)+len(r.Reels))
	for i := range f {
		f[i] = i
	}
	for _, feed := range r.Feeds {
		f[f.head(r.node(feed.From))] = f.head(r.node(feed.To))
	}
	for _, j := range r.Joints {
		if rail == Minus || !j.PlusCut {
			f[f.head(r.node(Place{Kind: AtReel, Index: j.From}))] = f.head(r.node(Place{Kind: AtReel, Index: j.To}))
		}
	}
	return f
}

// Unreached gives the junctions and reels that one rail joins to no supply.
func (r *Run) Unreached(rail Rail) (junctions, reels []int) {
	f := r.joined(rail)
	live := map[int]bool{}
	for i := range r.Supplies {
		live[f.head(i)] = true
	}
	for i := range r.Junctions {
		if !live[f.head(r.node(Place{Kind: AtJunction, Index: i}))] {
			junctions = append(junctions, i)
		}
	}
	for i := range r.Reels {
		if !live[f.head(r.node(Place{Kind: AtReel, Index: i}))] {
			reels = append(reels, i)
		}
	}
	return junctions, reels
}

// Paralleled gives each pair of supplies whose plus rails are joined, which
// nobody should build: the stronger drives current into the weaker.
func (r *Run) Paralleled() [][2]int {
	f := r.joined(Plus)
	var pairs [][2]int
	for b := range r.Supplies {
		for a := range b {
			if f.head(a) == f.head(b) {
				pairs = append(pairs, [2]int{a, b})
				break
			}
		}
	}
	return pairs
}

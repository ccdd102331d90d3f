package run

import "fmt"

// rails groups the supplies, junctions and reels that one rail connects (union–find): each
// node points towards the head of its group.
type rails []int

func (f rails) head(node int) int {
	for f[node] != node {
		f[node] = f[f[node]]
		node = f[node]
	}
	return node
}

// node returns the number of the part that a place belongs to: supplies first, then
// junctions, then reels.
func (r *Run) node(p Place) int {
	switch p.Kind {
	case AtSupply:
		return p.Index
	case AtJunction:
		return len(r.Supplies) + p.Index
	}
	return len(r.Supplies) + len(r.Junctions) + p.Index
}

// joined returns the groups that one rail connects by feeds and joints.
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

// Unreached returns the reels that one rail does not connect to a supply.
func (r *Run) Unreached(rail Rail) []int {
	f := r.joined(rail)
	live := map[int]bool{}
	for i := range r.Supplies {
		live[f.head(i)] = true
	}
	var reels []int
	for i := range r.Reels {
		if !live[f.head(r.node(Place{Kind: AtReel, Index: i}))] {
			reels = append(reels, i)
		}
	}
	return reels
}

// Unfed returns the junctions in use that no chain of feeds connects to a supply.
// A junction without feeds is unused, not unfed.
func (r *Run) Unfed() []int {
	fed := make([]bool, len(r.Junctions))
	for more := true; more; {
		more = false
		for _, f := range r.Feeds {
			if f.To.Kind == AtJunction && !fed[f.To.Index] && (f.From.Kind == AtSupply || fed[f.From.Index]) {
				fed[f.To.Index], more = true, true
			}
		}
	}
	used := make([]bool, len(r.Junctions))
	for _, f := range r.Feeds {
		for _, end := range []Place{f.From, f.To} {
			if end.Kind == AtJunction {
				used[end.Index] = true
			}
		}
	}
	var junctions []int
	for i := range fed {
		if used[i] && !fed[i] {
			junctions = append(junctions, i)
		}
	}
	return junctions
}

// ParallelWarnings warns of each pair of supplies whose plus rails are joined, even if no current
// flows between them in any step.
func (r *Run) ParallelWarnings() (list []string) {
	for _, pair := range r.Paralleled() {
		list = append(list, fmt.Sprintf("the plus rails of supplies %s and %s meet: the stronger one drives current into the other, and a fault is fed from both; part the plus between them (plus = \"cut\" at a joint) and keep the minus common",
			r.Supplies[pair[0]].Name, r.Supplies[pair[1]].Name))
	}
	return list
}

// Paralleled returns each pair of supplies whose plus rails are joined.
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

package elements

import (
	"cmp"
	"fmt"
	"slices"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/run"
)

// Edge is one conductor pair between two neighbouring nodes of the run.
type Edge struct {
	a, b  run.Place // current counts from a to b
	feed  int       // or -1
	joint int       // or -1
	reel  int       // or -1; a and b are pixels of it then
}

// Elements returns the elements between neighbouring sensed places of a run, which are in
// the order of Order.
func Elements(r *run.Run, sensed []run.Place) []Element { return newGraph(r, sensed).elements(sensed) }

// Covers reports whether a feed, a joint or some of a reel lies in an element.
func (e *Element) Covers(r *run.Run, kind run.Kind, name string) bool {
	for _, d := range e.Edges {
		switch {
		case d.feed >= 0 && kind == run.KindFeed && r.Feeds[d.feed].Name == name,
			d.joint >= 0 && kind == run.KindJoint && r.Joints[d.joint].Name == name,
			d.reel >= 0 && kind == run.KindReel && r.Reels[d.reel].Name == name:
			return true
		}
	}
	return false
}

// TemperatureSources lists the feeds and reels whose temperature is that of an element: a feed by its index, a
// reel by the number of feeds plus its index.
func (e *Element) TemperatureSources(r *run.Run) []int {
	var own []int
	for _, x := range e.Edges {
		switch {
		case x.feed >= 0:
			own = append(own, x.feed)
		case x.reel >= 0:
			own = append(own, len(r.Feeds)+x.reel)
		default:
			own = append(own, len(r.Feeds)+r.Joints[x.joint].From, len(r.Feeds)+r.Joints[x.joint].To)
		}
	}
	return own
}

// Sign is 1 where the element of a feed has the feed's direction, and −1 where it has the opposite one.
func (e *Element) Sign(f run.Feed) float64 {
	if e.Edges[0].a != f.From {
		return -1
	}
	return 1
}

// graph is a run as nodes and edges.
type graph struct {
	run   *run.Run
	edges []Edge
	at    map[run.Place][]int // edges by node
}

// newGraph divides the reels at their ends, at feeds and at sensed pixels. A joint whose plus is
// cut has no edge.
func newGraph(r *run.Run, sensed []run.Place) *graph {
	g := &graph{run: r, at: map[run.Place][]int{}}
	taps := make([][]int, len(r.Reels))
	for i, reel := range r.Reels {
		taps[i] = []int{1, reel.Pixels}
	}
	tap := func(p run.Place) {
		if p.Kind == run.AtReel {
			taps[p.Index] = append(taps[p.Index], p.Pixel)
		}
	}
	for _, f := range r.Feeds {
		tap(f.From)
		tap(f.To)
	}
	for _, p := range sensed {
		tap(p)
	}
	for i, f := range r.Feeds {
		g.addEdge(Edge{a: f.From, b: f.To, feed: i, joint: -1, reel: -1})
	}
	for i := range taps {
		slices.Sort(taps[i])
		taps[i] = slices.Compact(taps[i])
		for k := 1; k < len(taps[i]); k++ {
			g.addEdge(Edge{a: run.Place{Kind: run.AtReel, Index: i, Pixel: taps[i][k-1]},
				b: run.Place{Kind: run.AtReel, Index: i, Pixel: taps[i][k]}, feed: -1, joint: -1, reel: i})
		}
	}
	for i, j := range r.Joints {
		if !j.PlusCut {
			g.addEdge(Edge{a: run.Place{Kind: run.AtReel, Index: j.From, Pixel: r.Reels[j.From].Pixels},
				b: run.Place{Kind: run.AtReel, Index: j.To, Pixel: 1}, feed: -1, joint: i, reel: -1})
		}
	}
	return g
}

// addEdge adds an edge to the graph and to the lists of both of its places.
func (g *graph) addEdge(e Edge) {
	g.at[e.a] = append(g.at[e.a], len(g.edges))
	g.at[e.b] = append(g.at[e.b], len(g.edges))
	g.edges = append(g.edges, e)
}

// mostPaths is the greatest number of paths that are searched. A ring of many feeds without sensors has
// more.
const mostPaths = 4096

// elements finds all paths between two sensed places with none in between.
func (g *graph) elements(sensed []run.Place) []Element {
	is := map[run.Place]bool{}
	for _, p := range sensed {
		is[p] = true
	}
	var found []Element
	var path []Edge
	tried := 0
	been := map[run.Place]bool{}
	var walk func(from, at run.Place)
	walk = func(from, at run.Place) {
		been[at] = true
		defer delete(been, at)
		for _, i := range g.at[at] {
			e := g.edges[i]
			if e.a != at {
				e.a, e.b = e.b, e.a
			}
			if been[e.b] || tried > mostPaths || e.feed >= 0 && from.Kind == run.AtReel || e.feed >= 0 && onStrip(path) {
				continue // a path may lead from a feed to the strip, but not back
			}
			tried++
			path = append(path, e)
			switch {
			case !is[e.b]:
				walk(from, e.b)
			case Order(from, e.b) < 0:
				found = append(found, g.element(from, e.b, slices.Clone(path)))
			}
			path = path[:len(path)-1]
		}
	}
	for _, p := range sensed {
		walk(p, p)
	}
	return shortest(found)
}

// onStrip reports whether a path has reached a strip.
func onStrip(path []Edge) bool { return len(path) > 0 && path[len(path)-1].feed < 0 }

// shortest keeps the path of fewest edges where several join the same two places.
func shortest(found []Element) []Element {
	best := map[[2]run.Place]int{}
	for i, e := range found {
		pair := [2]run.Place{e.From, e.To}
		if k, known := best[pair]; e.Feed < 0 && (!known || len(e.Edges) < len(found[k].Edges)) {
			best[pair] = i
		}
	}
	var kept []Element
	for i, e := range found {
		// Parallel feeds are separate elements.
		if e.Feed >= 0 || best[[2]run.Place{e.From, e.To}] == i {
			kept = append(kept, e)
		}
	}
	return kept
}

// Order sorts places: supplies, junctions, then along the reels.
func Order(a, b run.Place) int {
	return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Index, b.Index), cmp.Compare(a.Pixel, b.Pixel))
}

// element returns the element that consists of a path.
func (g *graph) element(from, to run.Place, path []Edge) Element {
	r := g.run
	e := Element{Kind: run.KindPath, From: from, To: to, Feed: -1, Edges: path, Stated: true, Limit: unknown}
	e.Name = fmt.Sprintf("%s-%s", r.PlaceName(from), r.PlaceName(to))
	reels := map[int]float64{} // metres of each
	limit := 0.0
	for _, x := range path {
		switch {
		case x.feed >= 0:
			f := r.Feeds[x.feed]
			e.Nominal += f.Ohms
			e.Wire += ladder.FeedWire(f)
			limit += f.Ohms
		case x.joint >= 0:
			e.Joints++
			e.Nominal += r.Joints[x.joint].Ohms
			limit += r.Joints[x.joint].Limit
		default:
			metres := float64(max(x.b.Pixel-x.a.Pixel, x.a.Pixel-x.b.Pixel)) * r.Reels[x.reel].SegmentLength()
			reels[x.reel] += metres
			ohms := metres * perMetre(r.Reels[x.reel])
			e.Nominal += ohms
			e.Wire += ohms
			limit += ohms * (1 + r.Limits.ReelExcess)
			e.Stated = e.Stated && r.Reels[x.reel].Strip.LoopOhms > 0
		}
	}
	switch first := path[0]; {
	case len(path) == 1 && first.feed >= 0:
		e.Kind, e.Name, e.Feed = run.KindFeed, r.Feeds[first.feed].Name, first.feed
		return e // its limit needs the design step
	case len(path) == 1 && first.joint >= 0:
		e.Kind, e.Name = run.KindJoint, r.Joints[first.joint].Name
	case e.Joints == 0 && len(reels) == 1 && whole(r, from, to):
		e.Kind, e.Name = run.KindReel, r.Reels[from.Index].Name
	}
	if e.Stated {
		e.Limit = limit
	}
	return e
}

// whole reports whether two places are the ends of one reel.
func whole(r *run.Run, from, to run.Place) bool {
	return from.Kind == run.AtReel && to.Kind == run.AtReel && from.Index == to.Index &&
		from.Pixel == 1 && to.Pixel == r.Reels[to.Index].Pixels
}

// perMetre returns a reel's stated loop resistance, or the assumed one, Ω/m.
func perMetre(reel run.Reel) float64 {
	if reel.Strip.LoopOhms > 0 {
		return reel.Strip.LoopOhms
	}
	return ladder.AssumedLoopOhms
}

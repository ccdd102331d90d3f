package planttest

import (
	"math"
	"math/rand/v2"

	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/plant"
)

// Fault is a defect of a run.
type Fault int

const (
	Sound     Fault = iota
	BadJoint        // 24 to 150 mΩ in one rail of a joint
	OpenJoint       // one rail of a joint conducts nothing, and is fed from the other side
	OpenFeed        // one conductor of a feed conducts nothing, and the run is fed elsewhere too
	ThinFeed        // a feed of half to two thirds of the copper that is stated
)

// breakIt puts a fault into a plant, and reports whether the run has a place for it.
func breakIt(p *plant.Plant, f Fault, rng *rand.Rand) bool {
	switch f {
	case BadJoint, OpenJoint:
		i := rng.IntN(len(p.Joints))
		ohms := math.Exp(between(rng, math.Log(0.024), math.Log(0.150)))
		if f == OpenJoint {
			ohms = math.Inf(1)
		}
		if rng.IntN(2) == 0 && !p.Run.Joints[i].PlusCut {
			p.Joints[i].Plus = ohms
		} else {
			p.Joints[i].Minus = ohms
		}
	case OpenFeed:
		i := rng.IntN(len(p.Feeds))
		if rng.IntN(2) == 0 {
			p.Feeds[i].Plus = math.Inf(1)
		} else {
			p.Feeds[i].Minus = math.Inf(1)
		}
	case ThinFeed:
		i := rng.IntN(len(p.Feeds))
		factor := between(rng, 1.5, 2)
		p.ReplaceFeed(i, plant.Rails{Plus: p.Feeds[i].Plus * factor, Minus: p.Feeds[i].Minus * factor})
	}
	return fed(p)
}

// fed reports whether every reel still reaches both terminals of one supply, and the
// first supply's minus, without which its potentials would be anything.
func fed(p *plant.Plant) bool {
	r := p.Run
	minus := func(x plant.Rails) float64 { return x.Minus }
	grounded, live := reached(p, 0, minus), make([]bool, len(r.Reels))
	for s := range r.Supplies {
		to, back := reached(p, s, func(x plant.Rails) float64 { return x.Plus }), reached(p, s, minus)
		for i := range live {
			live[i] = live[i] || to[i] && back[i] && grounded[i]
		}
	}
	for _, l := range live {
		if !l {
			return false
		}
	}
	return true
}

// reached reports which reels one rail joins to a supply.
func reached(p *plant.Plant, supply int, of func(plant.Rails) float64) []bool {
	r := p.Run
	node := func(at run.Place) int {
		switch at.Kind {
		case run.AtReel:
			return at.Index
		case run.AtJunction:
			return len(r.Reels) + at.Index
		}
		return len(r.Reels) + len(r.Junctions) + at.Index
	}
	live := make([]bool, len(r.Reels)+len(r.Junctions)+len(r.Supplies))
	live[node(run.Place{Kind: run.AtSupply, Index: supply})] = true
	join := func(a, b run.Place, ohms float64) {
		if x, y := node(a), node(b); !math.IsInf(ohms, 1) && (live[x] || live[y]) {
			live[x], live[y] = true, true
		}
	}
	for range live {
		for i, f := range r.Feeds {
			join(f.From, f.To, of(p.Feeds[i]))
		}
		for i, j := range r.Joints {
			join(run.Place{Kind: run.AtReel, Index: j.From}, run.Place{Kind: run.AtReel, Index: j.To}, of(p.Joints[i]))
		}
	}
	return live[:len(r.Reels)]
}

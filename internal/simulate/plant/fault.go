package plant

import (
	"math"
	"math/rand/v2"

	"ohmkeep/internal/run"
)

// Fault is what is broken in a run.
type Fault int

const (
	Sound     Fault = iota
	BadJoint        // 24 to 150 mΩ in one rail of a joint
	OpenJoint       // one rail of a joint conducts nothing, and is fed from the other side
	OpenFeed        // one conductor of a feed conducts nothing, and the run is fed elsewhere too
	ThinFeed        // a feed of half to two thirds of the copper that is stated
)

// breakIt puts a fault into a plant, and reports whether the run has a place for it.
func (p *Plant) breakIt(f Fault, rng *rand.Rand) bool {
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
		p.Feeds[i] = Rails{p.Feeds[i].Plus * factor, p.Feeds[i].Minus * factor}
	}
	return p.fed()
}

// fed reports whether both rails of every pixel still reach a supply.
func (p *Plant) fed() bool {
	for _, rail := range []run.Rail{run.Plus, run.Minus} {
		of := func(r Rails) float64 { return [2]float64{r.Plus, r.Minus}[rail] }
		place := func(at run.Place) int {
			switch at.Kind {
			case run.AtSupply:
				return 0
			case run.AtJunction:
				return 1 + at.Index
			}
			return 1 + len(p.Run.Junctions) + at.Index
		}
		live := make([]bool, 1+len(p.Run.Junctions)+len(p.Run.Reels))
		live[0] = true
		join := func(a, b run.Place, ohms float64) {
			if x, y := place(a), place(b); !math.IsInf(ohms, 1) && (live[x] || live[y]) {
				live[x], live[y] = true, true
			}
		}
		for range live {
			for i, f := range p.Run.Feeds {
				join(f.From, f.To, of(p.Feeds[i]))
			}
			for i, j := range p.Run.Joints {
				join(run.Place{Kind: run.AtReel, Index: j.From}, run.Place{Kind: run.AtReel, Index: j.To}, of(p.Joints[i]))
			}
		}
		for _, l := range live {
			if !l {
				return false
			}
		}
	}
	return true
}

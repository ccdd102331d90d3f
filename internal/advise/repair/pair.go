package repair

import (
	"fmt"
	"slices"

	"ohmkeep/internal/result/assessment"
)

// finalists is the number of pairs that are evaluated with intervals, after all pairs were
// evaluated at the design load only.
const finalists = 12

// pair finds the best two repairs together. That is the cheapest pair that meets every limit where
// neither repair alone and no cheaper one does. Where no pair is needed, it is the pair that gains
// the most amperes for its cost; where no pair meets the limits, the one with the highest level.
func (p *Plan) pair(k Basis, o Options) {
	type quick struct {
		a, b  int
		both  edit
		class int
		worth float64 // within the class, greater is better
	}
	var all []quick
	for i := range p.Options {
		for j := range i {
			a, b := &p.Options[j].Repairs[0], &p.Options[i].Repairs[0]
			if !together(a, b) {
				continue
			}
			both := a.edit.with(b.edit)
			bench, err := newBench(k, &both, p.Mix, o.Limits)
			if err != nil || len(bench.of.Paralleled()) > len(k.Run.Paralleled()) {
				continue
			}
			s, err := bench.circuit.Solve(p.Level)
			if err != nil {
				continue
			}
			q := quick{a: j, b: i, both: both, class: p.class(j, i, s.Holds() && len(k.remaining(&both)) == 0)}
			worst, cost := s.Worst(), a.Cost()+b.Cost()
			switch q.class {
			case needed:
				q.worth = -cost
			case spare: // the unused part of the limits, as a measure of amperes
				q.worth = (1/worst.Ratio() - 1/p.AsWired.Utilisation.Value) / cost
			default:
				q.worth = -worst.Ratio()
			}
			all = append(all, q)
		}
	}
	slices.SortStableFunc(all, func(a, b quick) int {
		if a.class != b.class {
			return a.class - b.class
		}
		return compare(b.worth, a.worth)
	})
	best, class := Option{}, 0
	for _, q := range all[:min(len(all), finalists)] {
		e, ok := tried(k, &q.both, p.Mix, p.Level, o)
		if !ok {
			continue
		}
		two := Option{[]Repair{p.Options[q.a].Repairs[0], p.Options[q.b].Repairs[0]}, e}
		its := p.class(q.a, q.b, e.Verdict == assessment.Pass)
		if p.Pair == nil || its < class || its == class && p.betterPair(two, best, its) {
			best, class = two, its
			p.Pair = &best
		}
	}
}

// Classes of pairs, the best first.
const (
	needed = iota // it meets every limit, and no cheaper repair alone does
	spare         // it meets every limit, and so does one of the two or a cheaper repair
	weak          // it does not meet every limit
)

// class returns the class of the options i and j together.
func (p *Plan) class(i, j int, meets bool) int {
	alone := p.AsWired.Verdict == assessment.Pass
	cost := p.Options[i].Cost() + p.Options[j].Cost()
	for k, o := range p.Options {
		alone = alone || o.Effect.Verdict == assessment.Pass && (k == i || k == j || o.Cost() <= cost)
	}
	switch {
	case meets && !alone:
		return needed
	case meets:
		return spare
	}
	return weak
}

func (p *Plan) betterPair(a, b Option, class int) bool {
	if class != spare {
		return better(a, b) < 0
	}
	won := func(o Option) float64 { return (o.Effect.Limiter.Value - p.AsWired.Limiter.Value) / o.Cost() }
	return won(a) > won(b)+1e-9
}

// together reports whether two repairs can be combined: not twice on the
// same thing, not two supplies, and not a joint both alone and among all.
func together(a, b *Repair) bool {
	switch {
	case a.touches == b.touches, a.Kind == NewSupply && b.Kind == NewSupply:
		return false
	case a.Kind == Remake && b.Kind == Remake:
		return a.touches != "joints" && b.touches != "joints"
	}
	return true
}

func lowerText(p *Plan, to float64) string {
	return fmt.Sprintf("lower the limiter to %.3g A: %q at %.3g %% of its level", p.Mix.Limiter(p.Basis.Run, to), p.Step, 100*to/p.Level)
}

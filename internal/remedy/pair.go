package remedy

import (
	"fmt"
	"slices"

	"ohmkeep/internal/assessment"
)

// finalists is how many pairs are weighed with their intervals after all have been
// tried at the design load alone.
const finalists = 8

// pair finds the best two repairs together. Where no repair alone meets every limit,
// that is the cheapest pair that does; where one does, or the run as wired, the pair
// that wins the most amperes for its cost; and where no pair does, the one that
// bears the most.
func (p *Plan) pair(k Known, o Options) {
	type quick struct {
		a, b  int
		both  edit
		use   float64
		cost  float64
		holds bool
	}
	var all []quick
	alone := p.AsWired.Verdict == assessment.Pass
	for _, o := range p.Options {
		alone = alone || o.Effect.Verdict == assessment.Pass
	}
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
			s, err := bench.circuit.Try(p.Level)
			if err != nil {
				continue
			}
			worst := s.Worst()
			all = append(all, quick{j, i, both, worst.Ratio(), a.Cost() + b.Cost(), s.Holds()})
		}
	}
	slices.SortStableFunc(all, func(a, b quick) int {
		switch {
		case a.holds != b.holds && a.holds:
			return -1
		case a.holds != b.holds:
			return 1
		case a.holds && alone: // as a measure of amperes: how little of the limits is used
			if by := compare((1/b.use-1/p.AsWired.Use.Value)/b.cost, (1/a.use-1/p.AsWired.Use.Value)/a.cost); by != 0 {
				return by
			}
		case a.holds:
			if by := compare(a.cost, b.cost); by != 0 {
				return by
			}
		}
		return compare(a.use, b.use)
	})
	for _, q := range all[:min(len(all), finalists)] {
		e, ok := tried(k, &q.both, p.Mix, p.Level, o)
		if !ok {
			continue
		}
		two := Option{[]Repair{p.Options[q.a].Repairs[0], p.Options[q.b].Repairs[0]}, e}
		if p.Pair == nil || p.betterPair(two, *p.Pair, alone) {
			p.Pair = &two
		}
	}
}

func (p *Plan) betterPair(a, b Option, alone bool) bool {
	if !alone || a.Effect.Verdict != assessment.Pass || b.Effect.Verdict != assessment.Pass {
		return better(a, b) < 0
	}
	won := func(o Option) float64 { return (o.Effect.Limiter.Value - p.AsWired.Limiter.Value) / o.Cost() }
	return won(a) > won(b)+1e-9
}

// together tells whether two repairs make sense beside each other: not twice on the
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
	return fmt.Sprintf("lower the limiter to %.3g A: %q at %.3g %% of its level", p.Mix.Limiter(p.Known.Run, to), p.Step, 100*to/p.Level)
}

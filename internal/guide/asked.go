package guide

import (
	"slices"

	"ohmkeep/internal/assess/nextreading"
	"ohmkeep/internal/assess/plan"
	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// makePlan returns the readings to take: the plan's, or all places, without what fixed probes read.
func (s *Session) makePlan() (*plan.Plan, error) {
	r := s.config.Run
	meters := nextreading.CarriedMeters(r)
	var p *plan.Plan
	if !s.config.All {
		made, err := plan.Make(r, meters)
		if err != nil {
			return nil, err
		}
		p = made
	}
	chosen := func(round plan.Round) bool {
		return s.config.Steps == nil || slices.Contains(s.config.Steps, round.Step)
	}
	if p == nil || !slices.ContainsFunc(p.Rounds, chosen) {
		p = everyPlace(r, meters) // the plan needs none of the steps that are chosen
	}
	fixed := map[survey.Visit]bool{}
	for _, probe := range s.config.Probes {
		for _, c := range probe.Channels {
			if c.From != "" {
				fixed[survey.Visit{Quantity: c.Quantity, From: c.From, To: c.To}] = true
			}
		}
	}
	rounds := p.Rounds
	p.Rounds = nil
	for _, round := range rounds {
		round.Reads = slices.DeleteFunc(slices.Clone(round.Reads), func(n assessment.Next) bool {
			return fixed[survey.Visit{Quantity: n.Quantity, From: n.From, To: n.To}] || !s.measures(n.Quantity)
		})
		if len(round.Reads) > 0 {
			p.Rounds = append(p.Rounds, round)
		}
	}
	return p, nil
}

// everyPlace is a plan of all places in all steps.
func everyPlace(r *run.Run, meters []int) *plan.Plan {
	p := &plan.Plan{Run: r, Warnings: r.ParallelWarnings()}
	for _, m := range meters {
		p.Meters = append(p.Meters, r.Meters[m].Name)
	}
	for _, step := range r.Steps {
		round := plan.Round{Step: step.Name}
		for _, v := range survey.Thorough(r) {
			n := assessment.Next{Quantity: v.Quantity, From: v.From, To: v.To, Step: step.Name}
			for _, m := range meters {
				if r.Meters[m].Measures(v.Quantity) {
					n.Meter = r.Meters[m].Name
					break
				}
			}
			round.Reads = append(round.Reads, n)
		}
		p.Readings += len(round.Reads)
		p.Rounds = append(p.Rounds, round)
	}
	return p
}

// measures reports whether a person can take a reading of a quantity.
func (s *Session) measures(q run.Quantity) bool {
	if s.source != nil && s.source.meter(q) != "" {
		return true
	}
	return s.CanType(q)
}

// Unmeasured lists the quantities of the run that no meter at hand measures.
func (s *Session) Unmeasured() (list []run.Quantity) {
	for _, q := range []run.Quantity{run.Voltage, run.Current} {
		if !s.measures(q) {
			list = append(list, q)
		}
	}
	return list
}

// TypedMeter returns the name of the meter whose value a person types for a reading: the one that the
// walk asks for, or the first of the run that measures the quantity.
func (s *Session) TypedMeter(n assessment.Next) string {
	r := s.config.Run
	if i := r.MeterIndex(n.Meter); i >= 0 && i < s.config.Own {
		return n.Meter
	}
	for _, m := range r.Meters[:s.config.Own] {
		if m.Measures(n.Quantity) {
			return m.Name
		}
	}
	return n.Meter
}

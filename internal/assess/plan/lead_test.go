package plan

import (
	"slices"
	"strings"
	"testing"

	"ohmkeep/internal/run/runtest"
)

// ringOfTwo is an invented run whose joint lies between two feeds, so that its current depends on
// the difference of their conductors, which no pair voltage tells apart. No step can be much brighter.
var ringOfTwo = runtest.TwoFeeds(2.2) + runtest.White("white", 0.9)

// A long lead is proposed as a remedy for a joint that only it settles. With such a lead the plan
// reads along conductors that it reaches, says the length that each takes, and settles the joint.
func TestPlanReadsAlongConductors(t *testing.T) {
	r := runtest.Parse(t, ringOfTwo)
	joint := func(p *Plan) Element { return p.Elements[0] }
	if e := joint(planned(t, r)); e.Settled || !slices.ContainsFunc(e.Remedies, func(s string) bool { return strings.Contains(s, "a lead of 6 m") }) {
		t.Errorf("without a lead: %+v", e)
	}
	r.Meters[0].Lead = 6
	p := planned(t, r)
	along := 0
	for _, round := range p.Rounds {
		for _, n := range round.Reads {
			from, _ := r.Point(n.From)
			to, _ := r.Point(n.To)
			if n.Lead > 0 {
				along++
			}
			if n.Lead > 6 || n.Lead > 0 && n.Lead != r.Metres(from.Place, to.Place) {
				t.Errorf("%+v", n)
			}
		}
	}
	if along == 0 || !joint(p).Settled {
		t.Errorf("%d readings along a conductor, %+v", along, joint(p))
	}
}

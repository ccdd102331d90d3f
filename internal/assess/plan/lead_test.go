package plan

import (
	"slices"
	"strings"
	"testing"

	"ohmkeep/internal/run/runtest"
)

// ringOfTwo is an invented run whose joint lies between two feeds, so that its current depends on
// the difference of their conductors, which no pair voltage tells apart. No step can be much brighter. West
// is so much longer than north that the pixels of both need not draw the same.
var ringOfTwo = strings.Replace(runtest.TwoFeeds(2.2), "metres = 6\n", "metres = 6.5\n", 1) + runtest.White("white", 0.9)

// A long lead is proposed as a remedy for a joint that only it settles. With such a lead the plan
// reads along conductors that it reaches, says the length that each takes, and settles the joint.
func TestPlanReadsAlongConductors(t *testing.T) {
	r := runtest.Parse(t, ringOfTwo)
	joint := func(p *Plan) Element { return p.Elements[0] }
	if e := joint(planned(t, r)); e.Settled || !slices.ContainsFunc(e.Remedies, func(s string) bool { return strings.Contains(s, "a lead of 7 m") }) {
		t.Errorf("without a lead: %+v", e)
	}
	r.Meters[0].Lead = 7
	p := planned(t, r)
	along := 0
	for _, round := range p.Rounds {
		for _, n := range round.Reads {
			from, _ := r.Point(n.From)
			to, _ := r.Point(n.To)
			if n.Lead > 0 {
				along++
			}
			if n.Lead > 7 || n.Lead > 0 && n.Lead != r.Metres(from.Place, to.Place) {
				t.Errorf("%+v", n)
			}
		}
	}
	if along == 0 || !joint(p).Settled {
		t.Errorf("%d readings along a conductor, %+v", along, joint(p))
	}
}

// A lead takes nothing from a plan: whatever is settled without one is settled with one.
func TestLeadMakesNoPlanWorse(t *testing.T) {
	for _, change := range []*strings.Replacer{
		strings.NewReplacer(),
		strings.NewReplacer("0.12", "0.25", "12 %", "25 %", "metres = 2.5", "metres = 4"),
		strings.NewReplacer("0.12", "0.06", "12 %", "6 %", `to = "east.end"
metres = 4`, `to = "east.end"
metres = 7`),
	} {
		r := runtest.Parse(t, change.Replace(arcade))
		without := planned(t, r)
		r.Meters[0].Lead = 6
		with := planned(t, r)
		if !without.Settled() || !with.Settled() || with.Readings > without.Readings+3 {
			t.Errorf("settled without a lead: %v, with one: %v, by %d and %d readings\n%+v", without.Settled(), with.Settled(), without.Readings, with.Readings, with.Elements)
		}
	}
}

// arcade is an invented run of three reels fed at both ends.
const arcade = `schema = 1
name = "arcade beam"
[strip]
volts = 5
pixels_per_metre = 60
channel_milliamps = 12
idle_milliamps = 0.8
loop_milliohms_per_metre = 80
[[supply]]
name = "A"
volts = 5.1
amps = 20
[[reel]]
name = "west"
metres = 4
[[reel]]
name = "mid"
metres = 4
[[reel]]
name = "east"
metres = 4
[[feed]]
name = "near"
from = "A"
to = "west.start"
metres = 2.5
conductor = "18 AWG"
[[feed]]
name = "far"
from = "A"
to = "east.end"
metres = 4
conductor = "16 AWG"
[[step]]
name = "dark"
[[step]]
name = "white 4 %"
red = 0.04
green = 0.04
blue = 0.04
[[step]]
name = "white 12 %"
red = 0.12
green = 0.12
blue = 0.12
[[meter]]
name = "hand"
  [[meter.range]]
  quantity = "voltage"
  up_to = 0.6
  resolution = 0.0001
  percent = 0.5
  counts = 3
  [[meter.range]]
  quantity = "voltage"
  up_to = 6
  resolution = 0.001
  percent = 0.5
  counts = 3
  [[meter.range]]
  quantity = "current"
  up_to = 40
  resolution = 0.01
  percent = 2
  counts = 5
`

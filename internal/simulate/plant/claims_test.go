package plant_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"ohmkeep/internal/show/showtest"
	"ohmkeep/internal/simulate/plant"
	"ohmkeep/internal/simulate/planttest"
)

// The README claims what TestRoughRuns holds, no more: the bounds of its lines. With -update
// the claims are written again.
func TestReadmeClaimsWhatRoughRunsHold(t *testing.T) {
	plain := lines()[0].want
	rough, single, open := plain, plain, 1.0
	for _, l := range lines()[1:] {
		switch {
		case l.by(0).Name != plant.Plain.Name: // also of several at once
			rough = leastOf(rough, l.want)
		case l.slip == planttest.SwappedDigits || l.slip == planttest.WrongSign || l.slip == planttest.WrongPlace || l.slip == planttest.WrongUnit:
			single.named = l.want.named
		case l.want.opens > 0:
			open = math.Min(open, l.want.opens)
		}
	}
	var b strings.Builder
	row := func(what, plain, rough string) { fmt.Fprintf(&b, "%-45s%10s%10s\n", what, plain, rough) }
	of := func(part float64) string {
		if part == 0 {
			return "–"
		}
		return strings.TrimSuffix(fmt.Sprintf("%.1f", 100*part), ".0") + " %"
	}
	row("at least", "plain", "rough")
	row("sound joints passed (*)", of(plain.proven), of(rough.proven))
	row("bad joints and thin feeds found (*)", of(plain.found), of(rough.found))
	row("95 % intervals that hold the truth", of(plain.held), of(rough.held))
	row("good readings not called wrong", of(plain.unsuspected), of(rough.unsuspected))
	row("one wrong reading named", of(single.named), "–")
	row("open conductors found", of(open), "–")
	b.WriteString("No sound joint failed, and none above its limit passed.\n")
	showtest.Readme(t).Shows(t, "held by the simulation of rough runs", b.String())
}

// leastOf returns the smaller of each two parts.
func leastOf(a, b reached) reached {
	return reached{held: math.Min(a.held, b.held), proven: math.Min(a.proven, b.proven), found: math.Min(a.found, b.found),
		unsuspected: math.Min(a.unsuspected, b.unsuspected)}
}

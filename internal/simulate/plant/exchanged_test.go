package plant_test

import (
	"strings"
	"testing"

	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/plant"
	"ohmkeep/internal/simulate/planttest"
)

// Sound runs in which the currents of two feeds of a block were exchanged. An open joint explained
// such readings, with a reel of 30 % of its stated resistance beside it, or a bad joint and a thin
// feed. Nothing fails. The exchange is named, but not that of two feeds of one block of which the one
// with half of the current may as well be twice as long.
func TestExchangedCurrentsFailNothing(t *testing.T) {
	const block = 11       // the kind with two supplies and a block
	const likeLength = 101 // the seed of such feeds
	seeds := []uint64{201}
	if *rough > 0 {
		seeds = append(seeds, likeLength, 127, 1051)
	}
	for _, seed := range seeds {
		x, err := planttest.Commission(planttest.Kinds()[block], plant.Plain, planttest.Sound, planttest.ExchangedCurrents, seed)
		if err != nil || x == nil {
			t.Fatalf("seed %d: not drawn: %v", seed, err)
		}
		a, err := judge.Make(x.Run, x.Readings)
		if err != nil {
			t.Fatal(err)
		}
		named := 0
		for _, i := range x.Wrong {
			if a.Readings[i].Suspect {
				named++
			}
		}
		if named != len(x.Wrong) && seed != likeLength {
			t.Errorf("seed %d: %d of %d exchanged currents are named", seed, named, len(x.Wrong))
		}
		for _, e := range a.Elements {
			if truth := x.TrueOhms(string(e.Kind), e.Name); e.Verdict == assessment.Fail && e.Kind != run.KindSupply {
				t.Errorf("seed %d: %s %s has %.4f Ω and was failed", seed, e.Kind, e.Name, truth)
			}
		}
	}
}

// Sound runs read with noise of 1.2 counts, in which the currents of two feeds were exchanged in the
// brightest step only. Both readings are named as that, no other one is called wrong, and joints pass as
// without the exchange.
func TestCurrentsExchangedInOneStep(t *testing.T) {
	noisy := plant.Plain
	noisy.DigitNoise = 1.2
	for _, c := range []struct {
		kind       int
		one, other string
	}{
		{3, "left", "trunk"},  // through a block to both ends
		{8, "first", "trunk"}, // a ring
	} {
		if *rough == 0 && c.kind != 3 {
			continue
		}
		x, err := planttest.Commission(planttest.Kinds()[c.kind], noisy, planttest.Sound, planttest.NoSlip, 7)
		if err != nil || x == nil {
			t.Fatalf("kind %d: not drawn: %v", c.kind, err)
		}
		passed := func() (n int, a *assessment.Assessment) {
			a, err := judge.Make(x.Run, x.Readings)
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range a.Elements {
				if e.Verdict == assessment.Pass && e.Kind == run.KindJoint {
					n++
				}
			}
			return n, a
		}
		before, _ := passed()
		var two []int
		last := x.Run.Steps[len(x.Run.Steps)-1].Name
		for i, y := range x.Readings {
			if y.Step == last && y.Quantity == run.Current && (y.From == c.one || y.From == c.other) {
				two = append(two, i)
			}
		}
		if len(two) != 2 {
			t.Fatalf("kind %d: %d readings of the two currents in step %q", c.kind, len(two), last)
		}
		x.Readings[two[0]].From, x.Readings[two[1]].From = x.Readings[two[1]].From, x.Readings[two[0]].From
		after, a := passed()
		for i, r := range a.Readings {
			if exchanged := i == two[0] || i == two[1]; r.Suspect != exchanged || exchanged && !strings.Contains(r.Note, "seem to be swapped in step") {
				t.Errorf("kind %d, line %d: suspect %v, %q", c.kind, r.Row, r.Suspect, r.Note)
			}
		}
		if after < before {
			t.Errorf("kind %d: %d of %d joints and rails pass", c.kind, after, before)
		}
	}
}

package judge

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
)

// wrongReadings are the ways in which one reading goes wrong, with the note expected for each.
// The function returns false where it would change nothing or cannot happen to the reading.
var wrongReadings = []struct {
	name, note string
	make       func(x *reading.Reading, all []reading.Reading, rng *rand.Rand) bool
}{
	{"digits swapped", "digits may be swapped", func(x *reading.Reading, _ []reading.Reading, rng *rand.Rand) bool {
		for range 20 {
			i := rng.IntN(len(x.Text) - 1)
			a, b := x.Text[i], x.Text[i+1]
			if a == b || !digit(a) || !digit(b) {
				continue
			}
			return write(x, x.Text[:i]+string([]byte{b, a})+x.Text[i+2:])
		}
		return false
	}},
	{"wrong decimal point", "decimal point may be wrong", func(x *reading.Reading, _ []reading.Reading, rng *rand.Rand) bool {
		return write(x, strconv.FormatFloat(x.Value*[]float64{10, 0.1}[rng.IntN(2)], 'g', 5, 64))
	}},
	{"leads reversed", "leads may have been reversed", func(x *reading.Reading, _ []reading.Reading, _ *rand.Rand) bool {
		return x.Quantity == run.Voltage && write(x, strings.TrimPrefix("-"+x.Text, "--"))
	}},
	{"wrong place", "in the same step", func(x *reading.Reading, all []reading.Reading, rng *rand.Rand) bool {
		y := all[rng.IntN(len(all))]
		return y.Quantity == x.Quantity && y.Step == x.Step && y.From != x.From && y.Text != x.Text && write(x, y.Text)
	}},
	{"wrong step", "same place in step", func(x *reading.Reading, all []reading.Reading, rng *rand.Rand) bool {
		y := all[rng.IntN(len(all))]
		return y.From == x.From && y.To == x.To && y.Quantity == x.Quantity && y.Step != x.Step && y.Text != x.Text && write(x, y.Text)
	}},
	{"wrong unit", "its unit may be", func(x *reading.Reading, _ []reading.Reading, rng *rand.Rand) bool {
		return write(x, strconv.FormatFloat(x.Value*[]float64{1000, 0.001}[rng.IntN(2)], 'g', 6, 64))
	}},
}

// write puts another number into a reading, in SI units as the simulation has them.
func write(x *reading.Reading, text string) bool {
	value, err := strconv.ParseFloat(text, 64)
	x.Text, x.Value = text, value
	return err == nil
}

// One wrong reading in each of many commissionings: it is reported by its row where it is off by
// more than 30 standard deviations or changes a verdict, hardly any good one is reported with it,
// and the rest is judged as without it.
func TestSimulatedWrongReadings(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 2))
	matter, named, good, falsely, told := 0, 0, 0, 0, 0
	unlike := 0
	held := map[run.Kind]*tally{run.KindJoint: {}, run.KindFeed: {}, run.KindReel: {}}
	passedBad, failedGood := 0, 0
	byKind := map[string][3]int{}
	for i := range *simulations {
		p, visits := mixes[0].make(t, i, rng)
		r := p.Run
		list, err := p.Walk(visits, rng, time.Unix(0, 0))
		if err != nil {
			t.Fatal(err)
		}
		slip := wrongReadings[rng.IntN(len(wrongReadings))]
		var k int
		for {
			k = rng.IntN(len(list))
			if x := list[k]; slip.make(&x, list, rng) && x.Value != list[k].Value {
				break
			}
		}
		clean := assess(t, r, list[:k:k], list[k+1:]...)
		before := list[k]
		for {
			list[k] = before
			if slip.make(&list[k], list, rng) && list[k].Value != before.Value {
				break
			}
		}
		a := assess(t, r, list)
		at := r.Meters[0].Ranges[max(r.Meters[0].Range(before.Quantity, before.Value), 0)]
		moved := 0
		for n := range a.Elements {
			e, f := a.Elements[n], clean.Elements
			if e.Verdict != assessment.Unproven && len(f) == len(a.Elements) && f[n].Name == e.Name && f[n].Verdict != e.Verdict && e.Rail == run.Loop {
				moved++
			}
		}
		row := a.Readings[k]
		if math.Abs(list[k].Value-before.Value) > 30*at.Resolution*math.Sqrt(1.0/12+0.09) {
			c := byKind[slip.name]
			matter++
			c[0]++
			if row.Suspect {
				named++
				c[1]++
				if strings.Contains(row.Note, slip.note) {
					told++
					c[2]++
				}
			} else {
				t.Logf("run %d %s: %s %s to %s was %g is %g, the other readings predict %.4f, %.1f σ", i, slip.name, row.Step, row.From, row.To,
					before.Value, list[k].Value, row.Predicted, row.Standardised)
			}
			byKind[slip.name] = c
			unlike += moved
		}
		for n, y := range a.Readings {
			if n == k {
				continue
			}
			good++
			if y.Suspect {
				falsely++
			}
		}
		for _, e := range a.Elements {
			if e.Kind == run.KindSupply || e.Rail != run.Loop {
				continue
			}
			truth := trueLoop(r, p, e)
			held[e.Kind].add(e, truth)
			if e.Kind != run.KindJoint {
				continue
			}
			if e.Verdict == assessment.Pass && truth > e.Limit {
				passedBad++
			}
			if e.Verdict == assessment.Fail && truth < e.Limit {
				failedGood++
			}
		}
	}
	t.Logf("%d of %d that matter named, %d with what they look like; %d of %d good ones named; verdicts moved %d; %d bad passed, %d good failed",
		named, matter, told, falsely, good, unlike, passedBad, failedGood)
	for kind, c := range byKind {
		t.Logf("%-22s %d of %d named, %d told", kind, c[1], c[0], c[2])
	}
	if float64(named) < 0.95*float64(matter) {
		t.Error("too few wrong readings named")
	}
	if float64(falsely) > 0.005*float64(good) {
		t.Error("too many good readings named")
	}
	for kind, c := range held {
		t.Logf("%s: %v", kind, *c)
		c.within(t, string(kind))
	}
	if passedBad > 0 || failedGood > *simulations/100+1 {
		t.Errorf("%d bad joints passed, %d good ones failed", passedBad, failedGood)
	}
	if float64(told) < 0.6*float64(named) {
		t.Error("too few are told what they look like")
	}
}

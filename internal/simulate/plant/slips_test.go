package plant_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/plant"
	"ohmkeep/internal/simulate/planttest"
)

const (
	// slipCost is the cost of a slip, and of each reading that is wrong by itself: one in 3000. A reading
	// that a slip makes useless lowers the cost by one without being wrong.
	slipCost = 16.0
	// tellingCost is how much the cost must be lower with a slip than with anything else for the readings
	// to tell it: a likelihood ratio of 20.
	tellingCost = 6.0
)

// hypothesis is a slip that may have been made, and the readings as they would then be.
type hypothesis struct {
	names    []string
	readings []reading.Reading
	useless  int // readings left out
}

// hypotheses returns every slip of a kind that can be made in the run's readings: every exchange of
// two feeds' currents, reversed leads in every step, every other load in every step, and every value
// that the display showed more than once in a row. It returns nil for a slip in one reading.
func hypotheses(x *planttest.Case, slip planttest.Slip) (list []hypothesis) {
	change := func(names []string, by func(*reading.Reading)) {
		h := hypothesis{names: names, readings: slices.Clone(x.Readings)}
		for i := range h.readings {
			by(&h.readings[i])
		}
		list = append(list, h)
	}
	switch slip {
	case planttest.ExchangedCurrents:
		for i, f := range x.Run.Feeds {
			for _, g := range x.Run.Feeds[:i] {
				other := map[string]string{f.Name: g.Name, g.Name: f.Name}
				change([]string{f.Name, g.Name}, func(y *reading.Reading) {
					if to, is := other[y.From]; is && y.Quantity == run.Current {
						y.From = to
					}
				})
			}
		}
	case planttest.ReversedLeads:
		for _, s := range x.Run.Steps {
			change([]string{s.Name}, func(y *reading.Reading) {
				if y.Step == s.Name && y.Quantity == run.Voltage {
					y.Value = -y.Value
				}
			})
		}
	case planttest.OtherLoad:
		for _, s := range x.Run.Steps {
			for _, o := range x.Run.Steps {
				if o.Name != s.Name {
					change([]string{s.Name, o.Name}, func(y *reading.Reading) {
						if y.Step == s.Name {
							y.Step = o.Name
						}
					})
				}
			}
		}
	case planttest.StuckRange:
		return heldValues(x)
	}
	return list
}

// heldValues returns a hypothesis for each value that a range showed more than once in a row in a
// step: all but its first reading are useless.
func heldValues(x *planttest.Case) (list []hypothesis) {
	latest, value := map[string]int{}, map[string]float64{} // by step and range
	groups := map[int][]int{}                               // by first reading
	for i, r := range x.Readings {
		display := fmt.Sprint(r.Step, " ", x.Ranges[i])
		if first, seen := latest[display]; seen && value[display] == r.Value {
			groups[first] = append(groups[first], i)
		} else {
			latest[display], value[display] = i, r.Value
		}
	}
	for i := range x.Readings {
		if groups[i] == nil {
			continue
		}
		h := hypothesis{useless: len(groups[i])}
		for k, r := range x.Readings {
			if !slices.Contains(groups[i], k) {
				h.readings = append(h.readings, r)
			} else {
				h.names = append(h.names, fmt.Sprint("line ", r.Row))
			}
		}
		list = append(list, h)
	}
	return list
}

// oneReading reports whether a slip is in one reading. Each differs by more than any meter's error, so
// that the others tell it.
func oneReading(s planttest.Slip) bool {
	return slices.Contains([]planttest.Slip{planttest.SwappedDigits, planttest.WrongSign, planttest.WrongPlace, planttest.WrongUnit}, s)
}

// recognisable reports whether the script can tell a case's slip from its readings: its cost is lower with
// that slip than with any other slip of that kind, without a slip, and with each wrong reading wrong by
// itself.
func recognisable(t *testing.T, x *planttest.Case, slip planttest.Slip) bool {
	t.Helper()
	asRead := newScript(t, x.Run, x.Readings)
	start, _, _ := asRead.fit(nil)
	costOf := func(readings []reading.Reading) float64 {
		s := newScript(t, x.Run, readings)
		if _, _, ok := s.fit(start); !ok {
			return math.Inf(1)
		}
		return s.cost
	}
	var single []reading.Reading
	for i, r := range x.Readings {
		if !slices.Contains(x.Wrong, i) {
			single = append(single, r)
		}
	}
	right, least := math.Inf(1), math.Min(asRead.cost, costOf(single)+slipCost*float64(len(x.Wrong)))
	for _, h := range hypotheses(x, slip) {
		if cost := costOf(h.readings) + slipCost + float64(h.useless); made(x, slip, h) {
			right = cost
		} else {
			least = math.Min(least, cost)
		}
	}
	return right < least-tellingCost
}

// made reports whether a hypothesis is the slip that was made.
func made(x *planttest.Case, slip planttest.Slip, h hypothesis) bool {
	names := slices.Clone(h.names)
	switch slip {
	case planttest.StuckRange:
		return slices.Contains(names, fmt.Sprint("line ", x.Readings[x.Wrong[0]].Row))
	case planttest.ExchangedCurrents:
		slices.Sort(names)
		feeds := slices.Clone(x.SlipNames)
		slices.Sort(feeds)
		return slices.Equal(names, feeds)
	}
	return slices.Equal(names, x.SlipNames)
}

// named reports whether an assessment names a case's slip as what it is, on one of the wrong readings.
func named(x *planttest.Case, slip planttest.Slip, a *assessment.Assessment) bool {
	var says []string
	switch slip {
	case planttest.SwappedDigits:
		says = []string{"digits may be swapped", "its decimal point may be wrong"} // 0.8 for 8.0 is both
	case planttest.WrongSign:
		says = []string{"its leads may have been reversed"}
	case planttest.WrongPlace:
		says = []string{"it reads like"}
	case planttest.WrongUnit:
		says = []string{"its unit may be wrong"}
	case planttest.ExchangedCurrents:
		one, other := x.SlipNames[0], x.SlipNames[1]
		says = []string{"The currents of feeds " + one + " and " + other + " seem to be swapped", "The currents of feeds " + other + " and " + one + " seem to be swapped"}
	case planttest.ReversedLeads:
		says = []string{fmt.Sprintf("All voltages of step %q seem to be read with the leads reversed", x.SlipNames[0])}
	case planttest.OtherLoad:
		says = []string{fmt.Sprintf("Step %q seems to have been read with the load of step %q", x.SlipNames[0], x.SlipNames[1])}
	case planttest.StuckRange:
		says = []string{"The display seems to have held"}
	}
	return slices.ContainsFunc(x.Wrong, func(i int) bool {
		r := a.Readings[i]
		return r.Suspect && slices.ContainsFunc(says, func(text string) bool { return strings.Contains(r.Note, text) })
	})
}

// A joint of 126 mΩ whose display held a low value in one step of three. Two readings across the joint
// contradict that one, and a fit that starts from stated resistances without it does not converge: the two
// were taken for outliers, and the joint passed.
func TestBadJointIsFoundBesideHeldDisplay(t *testing.T) {
	kinds := planttest.Kinds()
	kind := kinds[slices.IndexFunc(kinds, func(k planttest.Kind) bool { return k.Name == "24 V regulated, fed at both ends" })]
	x, err := planttest.Commission(kind, plant.Plain, planttest.BadJoint, planttest.StuckRange, 26)
	if err != nil || x == nil {
		t.Fatalf("not drawn: %v", err)
	}
	a, err := judge.Make(x.Run, x.Readings)
	if err != nil {
		t.Fatal(err)
	}
	for i, y := range a.Readings {
		if y.Suspect && !slices.Contains(x.Wrong, i) {
			t.Errorf("%s to %s in %s, which is right, is called wrong", y.From, y.To, y.Step)
		}
	}
	found := 0
	for _, e := range a.Elements {
		if e.Kind != run.KindJoint || e.Rail != run.Loop {
			continue
		}
		if truth := x.TrueOhms(string(e.Kind), e.Name); truth > e.Limit {
			found++
			if e.Verdict != assessment.Fail || e.Low > truth || e.High < truth {
				t.Errorf("%s has %.4f Ω: %s, %.4f to %.4f", e.Name, truth, e.Verdict, e.Low, e.High)
			}
		}
	}
	if found != 1 {
		t.Errorf("%d bad joints, want 1", found)
	}
}

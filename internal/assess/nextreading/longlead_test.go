package nextreading_test

import (
	"flag"
	"math"
	"slices"
	"strings"
	"testing"

	"ohmkeep/internal/assess/judge"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/plant"
	"ohmkeep/internal/simulate/planttest"
)

// leads is how many runs of each kind are followed; the continuous build follows more.
var leads = flag.Int("leads", 1, "runs of each kind whose proposals are followed, long leads included; 1 = of every second kind")

// follower reads a simulated run of which its meter's short leads have read all they reach.
type follower struct {
	t *testing.T
	*planttest.Case
}

func (f follower) assess() *assessment.Assessment {
	f.t.Helper()
	a, err := judge.Make(f.Run, f.Readings)
	if err != nil {
		f.t.Fatal(err)
	}
	return a
}

func (f follower) read(step, from, to string, quantity run.Quantity) {
	f.t.Helper()
	if err := f.Read(f.Run.StepIndex(step), quantity, from, to); err != nil {
		f.t.Fatal(err)
	}
}

// along reads both conductors of some feeds and reels in the brightest step.
func (f follower) along(list ...run.Conductor) {
	bright := f.Run.Steps[len(f.Run.Steps)-1].Name
	for _, x := range list {
		for _, sign := range []string{"+", "-"} {
			f.read(bright, f.Run.PlaceName(x.From)+sign, f.Run.PlaceName(x.To)+sign, run.Voltage)
		}
	}
}

// settledByFour returns which of some elements long-lead readings settle: all of them together, and
// also four or fewer.
func (f follower) settledByFour(elements []string) (settled []string) {
	before, conductors := f.Readings, f.Run.Conductors()
	verdicts := func(list ...run.Conductor) (settled []string) {
		f.Readings = slices.Clone(before)
		f.along(list...)
		left := unproven(f.assess())
		f.Readings = before
		return slices.DeleteFunc(slices.Clone(elements), func(e string) bool { return slices.Contains(left, e) })
	}
	if len(verdicts(conductors...)) == 0 {
		return nil
	}
	for i, a := range conductors {
		settled = append(settled, verdicts(a)...)
		for _, b := range conductors[:i] {
			settled = append(settled, verdicts(a, b)...)
		}
	}
	return settled
}

// unproven lists the joints and feeds without a verdict.
func unproven(a *assessment.Assessment) (names []string) {
	for _, e := range a.Elements {
		if e.Rail == run.Loop && (e.Kind == run.KindJoint || e.Kind == run.KindFeed) && e.Verdict == assessment.Unproven {
			names = append(names, e.Name)
		}
	}
	return names
}

// Runs are read throughout with short leads, and what is still unproven is read as proposed until
// nothing more is. Then no element is left that four or fewer readings with a long lead settle. Each
// proposal along a conductor says the lead that it needs.
func TestNothingIsLeftThatALongLeadSettles(t *testing.T) {
	unsure, proposals, decided, runs := 0, 0, 0, *leads
	if testing.Short() {
		runs = 1
	}
	for k, kind := range planttest.Kinds() {
		if *leads == 1 && k%2 > 0 {
			continue
		}
		if !strings.Contains(kind.Name, "block") && !strings.Contains(kind.Name, "ring") && !strings.Contains(kind.Name, "both ends") {
			continue // its joints all carry what flows in one feed
		}
		for seed := range uint64(runs) {
			c, err := planttest.Commission(kind, plant.Plain, planttest.Sound, planttest.NoSlip, seed)
			if err != nil {
				t.Fatal(err)
			}
			f := follower{t, c}
			a := f.assess()
			first := unproven(a)
			if len(first) == 0 {
				continue
			}
			unsure++
			for range 6 {
				if len(a.Next) == 0 {
					break
				}
				for _, n := range a.Next {
					f.read(n.Step, n.From, n.To, n.Quantity)
					from, _ := c.Run.Point(n.From)
					to, _ := c.Run.Point(n.To)
					if metres := c.Run.Metres(from.Place, to.Place); n.Lead != 0 && math.Abs(n.Lead-metres) > 1e-9 {
						t.Errorf("%s, seed %d: %s to %s needs a lead of %g m, not %g m", kind.Name, seed, n.From, n.To, metres, n.Lead)
					}
					if n.Lead > 0 {
						proposals++
					}
				}
				a = f.assess()
			}
			left := unproven(a)
			decided += len(first) - len(left)
			if len(left) == 0 || len(a.Next) > 0 {
				continue
			}
			if missed := f.settledByFour(left); missed != nil {
				t.Errorf("%s, seed %d: nothing more is proposed, and long-lead readings settle %q", kind.Name, seed, missed)
			}
		}
	}
	t.Logf("%d runs with something unproven, %d readings with a long lead proposed, %d elements decided", unsure, proposals, decided)
	if unsure < runs || proposals < 2*runs || decided < runs {
		t.Error("hardly anything is proposed with a long lead, so the test shows nothing")
	}
}

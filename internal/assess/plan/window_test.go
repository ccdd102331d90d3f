package plan

import (
	"math"
	"testing"

	"ohmkeep/internal/assess/nextreading"
)

// What a window shows of an element is what the whole run does, for nearly all of them: how
// far the likelihood stretches the deviation towards the limit differs by less than a tenth
// of what is needed to settle it. Where the likelihood is so bent that a fit of the whole run
// does not settle either, the two differ; whether the promises hold is simulated
// (TestPlanOfExampleAndHallKeepsItsPromise).
func TestWindowsShowWhatTheWholeRunDoes(t *testing.T) {
	reels := largeRun()
	r := hall(t, reels)
	s, err := newPlanner(r, nextreading.CarriedMeters(r))
	if err != nil {
		t.Fatal(err)
	}
	chosen := s.choose()
	variances := s.variancesAfter(chosen)
	compared, bent, other := 0, 0, 0
	for n, v := range s.conditions {
		whole := v.outlook.DeviationsTowardsLimits(v.pick(chosen), v.targets)
		for k := range v.targets {
			if !s.settles(k, variances) {
				continue
			}
			compared++
			got, want := math.Sqrt(variances[n][k])*s.deviationRatio(v, k, chosen), whole[k]
			if want > 1.1*math.Sqrt(variances[n][k]) {
				bent++
			}
			if needs := math.Sqrt(v.neededVariances[k]); math.Abs(got-want) > 0.1*needs && math.Min(got, want) < needs {
				other++
				t.Logf("condition %d, %s: %g in its window, %g in the whole run, %g is needed", n, v.targets[k].Name, got, want, needs)
			}
		}
		for _, w := range v.windows {
			if w.whole {
				t.Error("a window is the whole run, so the test shows nothing")
			}
		}
	}
	t.Logf("%d compared, %d bent, %d others", compared, bent, other)
	if compared < 2*reels || bent < 5 || other > compared/8 {
		t.Errorf("%d compared, %d of them bent, %d others than in the whole run", compared, bent, other)
	}
}

// A run of a few reels is looked at as a whole, so nothing about it is approximate.
func TestShortRunsAreLookedAtWhole(t *testing.T) {
	r := hall(t, 4)
	s, err := newPlanner(r, nextreading.CarriedMeters(r))
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range s.conditions {
		for k, target := range v.targets {
			if w, err := s.windowOf(v, &v.est.Elements[target.Element]); err != nil || !w.whole {
				t.Errorf("target %d: %v", k, err)
			}
		}
	}
}

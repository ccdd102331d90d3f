package judge

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/calibrationtest"
)

// carried is the current, A, that an open conductor would carry in the brightest step
// if it were sound.
func carried(t *testing.T, sound *calibrationtest.Plant, joint, feed int) float64 {
	t.Helper()
	if err := sound.Open(); err != nil {
		t.Fatal(err)
	}
	if err := sound.Set(len(sound.Run.Steps) - 1); err != nil {
		t.Fatal(err)
	}
	if joint >= 0 {
		return math.Abs(sound.JointAmps(joint))
	}
	return math.Abs(sound.Amps(feed))
}

// An injection feed that was never connected, or a joint parted on one rail, in runs
// that have a second way: it fails as open, and every other interval still holds.
func TestSimulatedOpens(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 3))
	opens, named, carrying, namedCarrying, doubt := 0, 0, 0, 0, 0
	others := map[run.Kind]*tally{run.KindJoint: {}, run.KindFeed: {}, run.KindReel: {}}
	passedBad, failedGood := 0, 0
	for opens < *simulations {
		r := draw(rng)
		if len(r.Feeds) < 2 || len(r.Supplies) > 1 {
			continue
		}
		p := calibrationtest.New(r, calibrationtest.MixedSpread, rng)
		joint, feed, rails := -1, -1, &p.Feeds[len(r.Feeds)-1]
		name, kind := r.Feeds[len(r.Feeds)-1].Name, run.KindFeed
		if rng.IntN(2) == 0 {
			feed = len(r.Feeds) - 1
		} else {
			joint = rng.IntN(len(r.Joints))
			rails, name, kind = &p.Joints[joint], r.Joints[joint].Name, run.KindJoint
		}
		amps := carried(t, p, joint, feed)
		if rng.IntN(2) == 0 {
			rails.Plus = 1e7
		} else {
			rails.Minus = 1e7
		}
		list, err := p.Walk(survey.Thorough(r), rng, time.Unix(0, 0))
		if err != nil {
			t.Fatal(err)
		}
		a := assess(t, r, list)
		opens++
		much := amps >= 0.2*r.Supplies[0].Volts/5
		if much {
			carrying++
		}
		if a.Doubtful {
			doubt++
		}
		for _, e := range a.Elements {
			if e.Rail != run.Loop || e.Kind == run.KindSupply {
				continue
			}
			truth := trueLoop(r, p, e)
			if !(e.Low <= e.Ohms && e.Ohms <= e.High) {
				t.Errorf("%s %s: %g Ω is not in %g to %g", e.Kind, e.Name, e.Ohms, e.Low, e.High)
			}
			if e.Kind != kind || e.Name != name {
				others[e.Kind].add(e, truth)
				if e.Kind == run.KindJoint && e.Verdict == assessment.Fail {
					failedGood++
				}
				continue
			}
			switch {
			case e.Open() && e.Verdict == assessment.Fail:
				named++
				if much {
					namedCarrying++
				}
			case e.Verdict == assessment.Pass:
				passedBad++
			default:
				t.Logf("open %d: %s %s of %.2f A if sound: %.4g (%.4g to %.4g) %s, p %.2g, settled %v", opens, e.Kind, e.Name, amps, e.Ohms, e.Low, e.High, e.Verdict, a.Fit.PValue, a.Fit.Converged)
			}
		}
	}
	t.Logf("%d of %d opens named (%d of %d that would carry 0.2 A at 5 V), %d unexplained, %d opens passed, %d good joints failed", named, opens, namedCarrying, carrying, doubt, passedBad, failedGood)
	for kind, c := range others {
		t.Logf("other %ss: %v", kind, *c)
		c.within(t, "other "+string(kind))
	}
	if passedBad > 0 || failedGood > *simulations/100+1 {
		t.Errorf("%d opens passed, %d good joints failed", passedBad, failedGood)
	}
	if float64(namedCarrying) < 0.99*float64(carrying) {
		t.Error("too few opens named")
	}
}

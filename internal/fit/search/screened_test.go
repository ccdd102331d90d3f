package search

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

var screened = flag.Int("screened", 2, "number of simulated runs in which what the search leaves out is fitted; with more than 2, errors of a reading are tried at closer intervals")

// shelf is an invented run of six reels end to end with a feed at the start of each, and its readings
// with noise: the currents of all feeds, and the voltages at both ends of the reels. One joint or feed
// is bad or nearly open, one reading in two runs is wrong, and in every third run the currents of two
// feeds are exchanged.
func shelf(rng *rand.Rand) (*run.Run, []reading.Reading) {
	const reels = 6
	r, _ := modeltest.Cornice()
	s := &run.Run{Name: "invented", Ambient: 20, Meters: r.Meters, Limits: r.Limits,
		Supplies: []run.Supply{{Name: "S", Volts: 5.1, Ohms: 0.005}}}
	for i := range reels {
		s.Reels = append(s.Reels, run.Reel{Name: fmt.Sprint("r", i), Pixels: 60, Follows: i - 1, Strip: r.Reels[0].Strip})
		if i > 0 {
			s.Joints = append(s.Joints, run.Joint{Name: fmt.Sprintf("r%d-r%d", i-1, i), From: i - 1, To: i, Limit: 0.015, Ohms: 0.003})
		}
		s.Feeds = append(s.Feeds, run.Feed{Name: fmt.Sprint("f", i), From: run.Place{Kind: run.AtSupply},
			To: run.Place{Kind: run.AtReel, Index: i, Pixel: 1}, Ohms: 0.05, WireOhms: 0.05, TempCo: ladder.CopperTempCo})
	}
	for i, level := range []float64{0, 0.1, 0.3} {
		s.Steps = append(s.Steps, run.Step{Name: fmt.Sprint("white ", i), Levels: map[string]float64{"red": level, "green": level, "blue": level}})
	}
	real := *s
	real.Joints, real.Feeds = slices.Clone(s.Joints), slices.Clone(s.Feeds)
	more := []float64{0.03, 0.08, 0.5, 1000}[rng.IntN(4)]
	if i := rng.IntN(2 * reels); i < len(real.Joints) {
		real.Joints[i].Ohms += more
	} else {
		real.Feeds[i%reels].Ohms += more
	}
	var list []reading.Reading
	for _, step := range s.Steps {
		for _, f := range s.Feeds {
			list = append(list, reading.Reading{Step: step.Name, Quantity: run.Current, From: f.Name, Meter: "hand"})
		}
		for _, reel := range s.Reels {
			for _, end := range []string{".start", ".end"} {
				list = append(list, reading.Reading{Step: step.Name, From: reel.Name + end + "+", To: reel.Name + end + "-", Meter: "hand"})
			}
		}
	}
	modeltest.Fill(&real, list)
	a, b := s.Feeds[rng.IntN(reels)].Name, s.Feeds[rng.IntN(reels)].Name
	exchanged := rng.IntN(3) == 0
	for i := range list {
		counts := 0.001
		if x := &list[i]; x.Quantity == run.Current {
			counts = 0.01
			switch {
			case exchanged && x.From == a:
				x.From = b
			case exchanged && x.From == b:
				x.From = a
			}
		}
		list[i].Value += counts * math.Round(0.4*rng.NormFloat64())
	}
	if rng.IntN(2) == 0 {
		list[rng.IntN(len(list))].Value -= 0.2
	}
	return s, list
}

// What the search leaves out would not be reported: exchanged currents and places read at the other end
// of a reel that shift no bad element towards its limit, and conductors that are high only in a fit to all
// readings, wrong ones too.
func TestWhatIsLeftOutGainsNothing(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 10))
	exchanges, places, conductors := 0, 0, 0
	for n := range *screened {
		r, list := shelf(rng)
		m, err := model.New(r, list)
		if err != nil {
			t.Fatal(err)
		}
		fit, err := model.SolveLimited(m, m.Assume(), m.Start(m.Assume()), initialIterations)
		if err != nil {
			t.Fatal(err)
		}
		plain, err := explain(fit, nil).withoutOutliers()
		if err != nil {
			t.Fatal(err)
		}
		at, err := m.At(plain.Assumptions, plain.X)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range m.PossibleMistakes(m.Assume()) {
			most := plain.elementOdds() + maxAlternativeCost - plain.mistakeOdds(x)
			switch x.Kind {
			case model.FeedsSwapped:
				if cost, _, _ := plain.costOfSwap(x); cost > most || plain.mayBeUnnoticed(x, at) {
					continue
				}
				exchanges++
			case model.PlaceMisread:
				if most+plain.lowOdds() < 0 || plain.mayBeUnnoticed(x, at) {
					continue
				}
				places++
			default:
				continue
			}
			if other, err := plain.correcting(x); err == nil && other.score() < plain.score()+maxAlternativeCost {
				t.Errorf("run %d: %+v is left out and has a score of %.1f, the explanation without it %.1f", n, x, other.score(), plain.score())
			}
		}
		if !plain.explained() {
			continue // then every conductor is tested
		}
		best := plain
		if opened, found := plain.withOpens(explain(fit, nil)); found && opened.score() < best.score() {
			best = opened
		}
		a := fit.Assumptions
		a.Noise = plain.Assumptions.Noise
		all, err := explain(fit, nil).solve(a, plain.X)
		if err != nil {
			t.Fatal(err)
		}
		high := all.openCandidates(false)
		conductors += max(0, len(high)-len(plain.openCandidates(false)))
		opened, err := all.withOpenConductors(high).withoutOutliers()
		if err != nil || len(opened.open) == 0 {
			continue
		}
		if opened = opened.withoutNeedlessOpens(); opened.score() < best.score()-1 {
			t.Errorf("run %d: with every high conductor tested the score is %.1f, and %.1f is found", n, opened.score(), best.score())
		}
	}
	if exchanges+conductors+places == 0 {
		t.Error("nothing was left out")
	}
	t.Logf("of %d runs %d exchanges, %d places and %d conductors were left out", *screened, exchanges, places, conductors)
}

package judge

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"ohmkeep/internal/assessment"
	"ohmkeep/internal/ladder"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate"
	"ohmkeep/internal/survey"
)

var simulations = flag.Int("simulations", 240, "how many commissionings to simulate")

// draw invents a run of one of the usual shapes, with its feeds and steps as the
// trade has them.
func draw(rng *rand.Rand) *run.Run {
	volts := []float64{5, 5, 12}[rng.IntN(3)]
	st := run.Strip{Volts: volts, PixelsPerMetre: []float64{30, 60}[rng.IntN(2)], Idle: 0.0008,
		LoopOhms: 0.06 + 0.06*rng.Float64()}
	for _, name := range []string{"red", "green", "blue"} {
		forward, knee := 0.50, 0.72
		if name == "red" {
			forward, knee = 0.32, 0.50
		}
		st.Channels = append(st.Channels, run.Channel{Name: name, Amps: 0.012, Forward: forward * volts, Knee: knee * volts})
	}
	r := &run.Run{Name: "invented", Ambient: 20, Limits: run.Limits{JointOhms: 0.015, FeedDrop: 0.03, FeedExcess: 0.25,
		ConnectorOhms: 0.010, ReelExcess: 0.25, DesignStep: -1},
		Meters: []run.Meter{hand}}
	r.Supplies = []run.Supply{{Name: "A", Volts: volts * 1.02, Amps: 20, Ohms: 0.005, Known: true}}
	reels := 2 + rng.IntN(3)
	for i := range reels {
		r.Reels = append(r.Reels, run.Reel{Name: fmt.Sprint("r", i), Pixels: int(st.PixelsPerMetre * (2 + 3*rng.Float64())), Follows: i - 1, Strip: st})
		if i > 0 {
			r.Joints = append(r.Joints, run.Joint{Name: fmt.Sprintf("r%d-r%d", i-1, i), From: i - 1, To: i, Limit: 0.015, Ohms: 0.003})
		}
	}
	feed := func(name string, from, to run.Place) {
		length := 1 + 3*rng.Float64()
		wire := 2 * length * 0.013174 // 16 AWG: 13.174 Ω/km from ASTM B258 and 1/58 Ω·mm²/m
		r.Feeds = append(r.Feeds, run.Feed{Name: name, From: from, To: to, Length: length, Conductor: "16 AWG",
			Material: "copper", Stranding: "solid", WireOhms: wire, Ohms: wire, TempCo: ladder.CopperTempCo})
	}
	a := run.Place{Kind: run.AtSupply}
	start := run.Place{Kind: run.AtReel, Index: 0, Pixel: 1}
	end := run.Place{Kind: run.AtReel, Index: reels - 1, Pixel: r.Reels[reels-1].Pixels}
	switch rng.IntN(5) {
	case 0: // end-fed
		feed("near", a, start)
	case 1: // both ends
		feed("near", a, start)
		feed("far", a, end)
	case 2: // middle
		feed("middle", a, run.Place{Kind: run.AtReel, Index: reels / 2, Pixel: 1})
	case 3: // two supplies, the plus parted between
		r.Supplies = append(r.Supplies, run.Supply{Name: "B", Volts: volts * 1.02, Amps: 20, Ohms: 0.005, Known: true})
		feed("near", a, start)
		feed("far", run.Place{Kind: run.AtSupply, Index: 1}, end)
		r.Joints[rng.IntN(len(r.Joints))].PlusCut = true
	case 4: // a distribution block
		r.Junctions = []run.Junction{{Name: "block"}}
		block := run.Place{Kind: run.AtJunction}
		feed("trunk", a, block)
		feed("near", block, start)
		feed("far", block, end)
	}
	for _, level := range []float64{0, 0.03, 0.06, 0.12} {
		r.Steps = append(r.Steps, run.Step{Name: fmt.Sprintf("white %g", level),
			Levels: map[string]float64{"red": level, "green": level, "blue": level}})
	}
	return r
}

// hand is a meter of 0.5 % + 3 counts with a clamp of 1.5 % + 3 counts.
var hand = run.Meter{Name: "hand", Ranges: []run.Range{
	{Quantity: run.Voltage, UpTo: 6, Resolution: 0.001, Fraction: 0.005, Counts: 3},
	{Quantity: run.Voltage, UpTo: 60, Resolution: 0.01, Fraction: 0.005, Counts: 3},
	{Quantity: run.Current, UpTo: 60, Resolution: 0.01, Fraction: 0.015, Counts: 3},
}}

// tally counts how often intervals hold the truth, and what verdicts say of it.
type tally struct {
	held, all int
	squares   float64 // of the errors over the intervals' half-widths
}

func (c *tally) add(e assessment.Element, truth float64) {
	c.all++
	half := (e.High - e.Low) / 2
	c.squares += (e.Ohms - truth) * (e.Ohms - truth) / half / half
	if truth >= e.Low && truth <= e.High {
		c.held++
	}
}

func (c tally) String() string {
	return fmt.Sprintf("%d of %d held (%.1f %%), error %.2f σ", c.held, c.all, 100*float64(c.held)/float64(max(c.all, 1)),
		coverageFactor*math.Sqrt(c.squares/float64(c.all)))
}

const coverageFactor = 1.96

func TestSimulatedCommissionings(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	kinds := map[assessment.Kind]*tally{assessment.Joint: {}, assessment.Feed: {}, assessment.Reel: {}}
	bad, found, falsely, healthy, passed, passedBad, suspects, readings, unexplained := 0, 0, 0, 0, 0, 0, 0, 0, 0
	var took time.Duration
	for i := range *simulations {
		r := draw(rng)
		p := simulate.New(r, simulate.Usual, rng)
		if rng.IntN(2) == 0 {
			j := rng.IntN(len(r.Joints))
			if !r.Joints[j].PlusCut {
				whole := 0.025 + 0.125*rng.Float64()
				part := rng.Float64()
				p.Joints[j] = ladder.Rails{Plus: whole * part, Minus: whole * (1 - part)}
			}
		}
		list, err := p.Walk(survey.Thorough(r), rng, time.Unix(0, 0))
		if err != nil {
			t.Fatal(err)
		}
		begun := time.Now()
		a, err := Make(r, list)
		took += time.Since(begun)
		if err != nil {
			t.Fatalf("run %d: %v", i, err)
		}
		for _, x := range a.Readings {
			readings++
			if x.Suspect {
				suspects++
			}
		}
		if a.Fit.PValue < 0.001 || !a.Fit.Converged {
			unexplained++
			t.Logf("run %d: %+v", i, a.Fit)
		}
		for _, e := range a.Elements {
			if e.Rail != assessment.Loop || e.Kind == assessment.Supply {
				continue
			}
			truth := 0.0
			switch e.Kind {
			case assessment.Joint:
				for k, j := range r.Joints {
					if j.Name == e.Name {
						truth = p.Joints[k].Plus + p.Joints[k].Minus
					}
				}
				switch {
				case truth > 1.5*e.Limit:
					bad++
					if e.Verdict == assessment.Fail {
						found++
					} else {
						t.Logf("run %d: %v %s truth %.2f mΩ called %.2f (%.2f to %.2f) at %.2f A, %s", i, r.Supplies[0].Volts, e.Name, 1000*truth, 1000*e.Ohms, 1000*e.Low, 1000*e.High, e.Amps, e.Verdict)
					}
					if e.Verdict == assessment.Pass {
						passedBad++
					}
				case truth < 0.8*e.Limit:
					healthy++
					if e.Verdict == assessment.Fail {
						falsely++
						t.Logf("run %d: %s %s truth %.2f mΩ called %.2f (%.2f to %.2f)", i, e.Kind, e.Name, 1000*truth, 1000*e.Ohms, 1000*e.Low, 1000*e.High)
					}
					if e.Verdict == assessment.Pass {
						passed++
					}
				}
			case assessment.Feed:
				k := r.FeedIndex(e.Name)
				truth = p.Feeds[k].Plus + p.Feeds[k].Minus
			case assessment.Reel:
				k := r.ReelIndex(e.Name)
				truth = p.Reels[k].Plus + p.Reels[k].Minus
			}
			kinds[e.Kind].add(e, truth)
			if math.IsNaN(e.Ohms) {
				t.Errorf("run %d: %s %s is not a number", i, e.Kind, e.Name)
			}
		}
	}
	for kind, c := range kinds {
		t.Logf("%s: %v", kind, *c)
	}
	t.Logf("joints: %d of %d bad found, %d of %d healthy called bad, %d passed, %d bad ones passed", found, bad, falsely, healthy, passed, passedBad)
	t.Logf("%d of %d good readings suspected, %d runs unexplained, %v a run", suspects, readings, unexplained, took/time.Duration(*simulations))
}

package judge

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/calibrationtest"
)

// Runs that differ from the priors: a reel of another stock, read fully or not at its end; a foil
// whose minus has half as much copper again as its plus; a bad contact in one conductor of a
// feed. The priors must not make such a run fail elsewhere, or pass.
func TestSimulatedOddStock(t *testing.T) {
	thin := func(by float64) func(p *calibrationtest.Plant, reel int) {
		return func(p *calibrationtest.Plant, reel int) {
			half := by * p.Run.Reels[reel].Strip.LoopOhms / 2
			p.Reels[reel] = ladder.Rails{Plus: 0.99 * half, Minus: 1.01 * half}
		}
	}
	for _, c := range []struct {
		name   string
		change func(p *calibrationtest.Plant, reel int)
		unread bool    // the reel's end
		held   float64 // part of the joints' and feeds' intervals that hold, at least
		found  float64 // part of such reels that fail, at least
	}{
		{"a reel a third thinner, its end unread", thin(1.35), true, 0.9, 0},
		{"a reel of two thirds of the copper", thin(1.5), false, 0.9, 0.6},
		{"a foil unlike its rails", func(p *calibrationtest.Plant, reel int) {
			whole := p.Reels[reel].Plus + p.Reels[reel].Minus
			p.Reels[reel] = ladder.Rails{Plus: 0.4 * whole, Minus: 0.6 * whole}
		}, false, 0.85, 0},
		{"a bad contact in the plus of a feed", func(p *calibrationtest.Plant, _ int) { p.Feeds[0].Plus += 0.1 }, false, 0.9, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(77, 5))
			held, doubt, failed, passed, found := tally{}, 0, 0, 0, 0
			runs := *simulations
			for i := range runs {
				p, visits := bright(t, i, rng)
				reel := rng.IntN(len(p.Reels))
				c.change(p, reel)
				list, err := p.Walk(visits, rng, time.Unix(0, 0))
				if err != nil {
					t.Fatal(err)
				}
				end := p.Run.Reels[reel].Name + ".end"
				list = slices.DeleteFunc(list, func(x reading.Reading) bool {
					return c.unread && (strings.HasPrefix(x.From, end) || strings.HasPrefix(x.To, end))
				})
				a := assess(t, p.Run, list)
				if a.Doubtful {
					doubt++
				}
				for _, e := range a.Elements {
					if e.Rail != run.Loop || e.Kind == run.KindSupply {
						continue
					}
					truth := trueLoop(p.Run, p, e)
					if e.Verdict == assessment.Pass && truth > e.Limit {
						passed++
					}
					switch {
					case e.Kind != run.KindReel:
						held.add(e, truth)
						if e.Kind == run.KindJoint && e.Verdict == assessment.Fail && truth < 0.8*e.Limit {
							failed++
						}
					case e.Name == p.Run.Reels[reel].Name && e.Verdict == assessment.Fail:
						found++
					}
				}
			}
			t.Logf("%d runs, %d in doubt; joints and feeds: %v; %d sound joints failed, %d passed above their limit; %d such reels failed", runs, doubt, held, failed, passed, found)
			if failed > runs/100 || passed > 0 || doubt > runs/20+1 {
				t.Error("verdicts are wrong, or too many runs are in doubt")
			}
			atLeast(t, "intervals that hold", held.held, held.all, c.held)
			atLeast(t, "such reels failed", found, runs, c.found)
		})
	}
}

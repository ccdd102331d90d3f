package judge

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/calibrationtest"
)

// hall is an invented run of reels of 150 pixels end to end, with a feed to every third reel, a
// supply for every five feeds and the plus cut between supplies. It has three steps.
func hall(reels int) *run.Run {
	r := draw(rand.New(rand.NewPCG(1, 1)))
	strip := r.Reels[0].Strip
	feed := r.Feeds[0]
	r.Supplies, r.Reels, r.Joints, r.Feeds, r.Junctions = nil, nil, nil, nil, nil
	for i := range reels {
		r.Reels = append(r.Reels, run.Reel{Name: fmt.Sprint("r", i), Pixels: 150, Follows: i - 1, Strip: strip})
		if i > 0 {
			r.Joints = append(r.Joints, run.Joint{Name: fmt.Sprintf("r%d-r%d", i-1, i), From: i - 1, To: i, Limit: 0.015, Ohms: 0.003, PlusCut: i%15 == 0})
		}
		if i%3 != 0 {
			continue
		}
		if i%15 == 0 {
			r.Supplies = append(r.Supplies, run.Supply{Name: fmt.Sprint("S", i/15), Volts: strip.Volts * 1.02, Amps: 20, Ohms: 0.005, Known: true})
		}
		feed.Name, feed.From, feed.To = fmt.Sprint("f", i), run.Place{Kind: run.AtSupply, Index: i / 15}, run.Place{Kind: run.AtReel, Index: i, Pixel: 1}
		r.Feeds = append(r.Feeds, feed)
	}
	r.Steps = r.Steps[1:]
	return r
}

// readHall returns the hall's readings as a survey takes them, thinned to ten a reel. With faults
// every twentieth joint is bad and one reading in two hundred is wrong by a decimal point.
func readHall(b *testing.B, r *run.Run, faults bool) []reading.Reading {
	rng := rand.New(rand.NewPCG(5, 5))
	p := calibrationtest.New(r, calibrationtest.UsualSpread, rng)
	for i := range p.Joints {
		if faults && i%20 == 7 {
			p.Joints[i] = ladder.Rails{Plus: 0.06, Minus: 0.002}
		}
	}
	list, err := p.Walk(survey.Thorough(r), rng, time.Unix(0, 0))
	if err != nil {
		b.Fatal(err)
	}
	total := 10 * len(r.Reels)
	var some []reading.Reading
	for i := range total {
		x := list[i*len(list)/total]
		if faults && i%200 == 101 {
			x.Value *= 10
		}
		some = append(some, x)
	}
	return some
}

var growth = flag.Int("growth", 100, "the largest run of BenchmarkGrowth, in reels; 30 in a short run")

// Growth of the time of an assessment with the size of a run, with ten readings a reel, up to 100
// reels and 1,000 readings. Of each size it also prints the exponent: the logarithm of the ratio to
// the time of the size before, over that of the reels. 1 is in proportion to the size.
func BenchmarkGrowth(b *testing.B) {
	sizes := []int{3, 10, 30, 100}
	before := map[bool]float64{} // s, by faults
	for n, reels := range sizes {
		if reels > *growth || reels > 30 && testing.Short() {
			break
		}
		r := hall(reels)
		for _, faults := range []bool{false, true} {
			list := readHall(b, r, faults)
			b.Run(fmt.Sprintf("reels=%d/readings=%d/faults=%v", reels, len(list), faults), func(b *testing.B) {
				for b.Loop() {
					if _, err := Make(r, list); err != nil {
						b.Fatal(err)
					}
				}
				seconds := b.Elapsed().Seconds() / float64(b.N)
				if was := before[faults]; was > 0 {
					b.ReportMetric(math.Log(seconds/was)/math.Log(float64(reels)/float64(sizes[n-1])), "exponent")
				}
				before[faults] = seconds
			})
		}
	}
}

package estimate

import (
	"slices"
	"testing"

	"ohmkeep/internal/fit/model"
	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/network/ladder"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// Copper that carries current in a closed channel may be 15 K warmer than the ambient of the run
// file, and the feeds that lead there 14 K (common practice, no source). Without a thermometer the
// intervals at 20 °C allow for that.
func TestWarmCopperWithoutThermometer(t *testing.T) {
	r, list := modeltest.Cornice()
	modeltest.FillAs(r, list, func(p *ladder.Parameters) {
		const strip, feed = 1 + ladder.CopperTempCo*15, 1 + ladder.CopperTempCo*14
		for i := range p.Reels {
			p.Reels[i] = ladder.Rails{Plus: p.Reels[i].Plus * strip, Minus: p.Reels[i].Minus * strip}
		}
		for i := range p.Feeds {
			p.Feeds[i] = ladder.Rails{Plus: p.Feeds[i].Plus * feed, Minus: p.Feeds[i].Minus * feed}
		}
	})
	e, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	for i := range e.Elements {
		x := &e.Elements[i]
		truth := 0.0
		switch {
		case x.Rail != run.Loop:
			continue
		case x.Kind == run.KindReel:
			truth = r.Reels[x.Index].Strip.LoopOhms
		case x.Kind == run.KindFeed:
			truth = r.Feeds[x.Index].Ohms
		default:
			continue
		}
		low, high := x.Belief.Interval(0.95)
		if low, high = x.Ohms(low), x.Ohms(high); truth < low || truth > high {
			t.Errorf("%s %d: %.4f to %.4f Ω, in truth %.4f", x.Kind, x.Index, low, high, truth)
		}
	}
}

// The current of each feed warms its own wire, here by 2 K and by 8 K in the brightest step and with the
// square of the load (Joule's law) in the others. That is taken for nothing else: the readings are explained, by
// nothing that the run file does not list.
func TestFeedsWarmedByTheirCurrent(t *testing.T) {
	r, all := modeltest.Cornice()
	for i := range r.Meters[0].Ranges { // a warm feed's drop is to be seen
		r.Meters[0].Ranges[i].Resolution /= 10
	}
	brightest := r.Steps[len(r.Steps)-1].Levels["red"]
	var list []reading.Reading
	for _, step := range r.Steps {
		in := slices.DeleteFunc(slices.Clone(all), func(x reading.Reading) bool { return x.Step != step.Name })
		load := step.Levels["red"] / brightest
		modeltest.FillAs(r, in, func(p *ladder.Parameters) {
			for i, warmer := range []float64{2, 8} {
				factor := 1 + ladder.CopperTempCo*warmer*load*load
				p.Feeds[i] = ladder.Rails{Plus: p.Feeds[i].Plus * factor, Minus: p.Feeds[i].Minus * factor}
			}
		})
		list = append(list, in...)
	}
	for i := range list {
		list[i].Row = i + 2
	}
	e, err := Make(r, list)
	if err != nil {
		t.Fatal(err)
	}
	if e.Model.UnlistedAt() != model.Absent || e.Fit.PValue < 0.1 {
		t.Errorf("p is %.2g, something unlisted at reel %d", e.Fit.PValue, e.Model.UnlistedAt())
	}
}

package estimate

import (
	"testing"

	"ohmkeep/internal/fit/model/modeltest"
	"ohmkeep/internal/network/ladder"
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

package chart

import (
	"math"
	"math/rand"
	"testing"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/text/number"
)

func TestTicksAreRound(t *testing.T) {
	for _, c := range []struct {
		s    span
		n    int
		want []string
	}{
		{span{4.53, 5.11}, 6, []string{"4.6", "4.7", "4.8", "4.9", "5.0", "5.1"}},
		{span{0, 14}, 7, []string{"0", "2", "4", "6", "8", "10", "12", "14"}},
		{span{-0.02, 0.24}, 4, []string{"0.0", "0.1", "0.2"}},
		{span{4.9991, 5.0009}, 4, []string{"4.9995", "5.0000", "5.0005"}},
		{span{0, 1400}, 5, []string{"0", "500", "1000"}},
	} {
		got := c.s.ticks(c.n)
		ok := len(got) == len(c.want)
		for i := range c.want {
			ok = ok && got[i].label == c.want[i]
		}
		if !ok {
			t.Errorf("%v: got %v, want %v", c.s, got, c.want)
		}
	}
	for range 2000 { // any span has a few labels and all of them lie in it
		from, wide := rand.NormFloat64()*1000, math.Pow(10, rand.Float64()*9-4)
		s := span{from, from + wide}
		got := s.ticks(5)
		if len(got) < 2 || len(got) > 12 {
			t.Errorf("%v: %d ticks", s, len(got))
		}
		for _, k := range got {
			if !(span{s.min - wide*1e-6, s.max + wide*1e-6}).holds(k.value) {
				t.Errorf("%v: tick %v", s, k)
			}
		}
	}
}

func TestLogTicks(t *testing.T) {
	got := span{math.Log10(1.5), math.Log10(250)}.logTicks()
	want := []string{"2", "5", "10", "20", "50", "100", "200"}
	if len(got) != len(want) {
		t.Fatalf("got %v", got)
	}
	for i := range want {
		if got[i].label != want[i] {
			t.Errorf("got %v, want %v", got[i], want[i])
		}
	}
}

// A thinned trace must not differ from the full one by what an eye can see.
func TestTraceKeepsTheShape(t *testing.T) {
	const n = 50_000
	ys := make([]float64, n)
	for i := range ys {
		ys[i] = 100 + 80*math.Sin(float64(i)/3000)
	}
	ys[31_234] = 3 // one pixel that stands out
	x := func(i int) float64 { return float64(i) * 900 / n }
	lines := trace(n, x, func(i int) float64 { return ys[i] })
	if len(lines) != 1 || len(lines[0]) > 200 {
		t.Fatalf("%d lines, the first of %d points", len(lines), len(lines[0]))
	}
	least, k := math.Inf(1), 0
	for i, y := range ys {
		for k < len(lines[0])-2 && lines[0][k+1].x < x(i) {
			k++
		}
		a, b := lines[0][k], lines[0][k+1]
		if math.Abs(x(i)-x(31_234)) > 2 { // px; beside it the line must climb back
			if at := a.y + (b.y-a.y)*(x(i)-a.x)/(b.x-a.x); math.Abs(at-y) > 0.5 {
				t.Fatalf("off by %.2f px at %.1f px", at-y, x(i))
			}
		}
	}
	for _, p := range lines[0] {
		least = min(least, p.y)
	}
	if least != 3 {
		t.Errorf("the pixel that stands out is gone: least %v", least)
	}
}

func TestTraceBreaksAtGaps(t *testing.T) {
	ys := []float64{1, 2, math.NaN(), 3, math.NaN(), math.NaN(), 4, 5}
	lines := trace(len(ys), func(i int) float64 { return float64(10 * i) }, func(i int) float64 { return ys[i] })
	if len(lines) != 3 || lines[1][0].y != 3 || lines[2][0].y != 4 {
		t.Errorf("got %v", lines)
	}
	if got := trace(0, nil, nil); got != nil {
		t.Errorf("no values gave %v", got)
	}
}

func TestLay(t *testing.T) {
	reel := func(pixels, follows int) run.Reel {
		return run.Reel{Pixels: pixels, Follows: follows, Strip: run.Strip{PixelsPerMetre: 10}}
	}
	// 0 goes on as 1 and branches into 2; 2 goes on as 3; 4 stands alone.
	r := &run.Run{Reels: []run.Reel{reel(10, -1), reel(20, 0), reel(5, 0), reel(5, 2), reel(10, -1)}}
	got := placeReels(r)
	for i, want := range []struct {
		start float64
		lane  int
	}{{0, 0}, {1, 0}, {1, 1}, {1.5, 1}, {3.3, 0}} {
		if math.Abs(got[i].start-want.start) > 1e-9 || got[i].lane != want.lane {
			t.Errorf("reel %d starts at %.2f m in lane %d, want %.2f m in lane %d", i, got[i].start, got[i].lane, want.start, want.lane)
		}
	}
}

func TestMilliohms(t *testing.T) {
	for ohms, want := range map[float64]string{
		0: "0.00", 0.003: "3.00", 0.009996: "10.0", 0.0976: "97.6", 0.1048: "104.8", 0.99996: "1000", 2.1: "2100",
		math.Inf(1): "∞", 1e300: "1e+303", 9000: "9000000", 1e5: "100 kΩ",
	} {
		if got := number.Milliohms(ohms); got != want {
			t.Errorf("number.Milliohms(%g) = %q, want %q", ohms, got, want)
		}
	}
	if got := wording.Label(assessment.Element{Kind: run.KindJoint, Name: "a-b", Rail: run.Minus}); got != "joint a-b minus" {
		t.Errorf("label %q", got)
	}
}

package chart

import (
	"bytes"
	"fmt"
	"image/png"
	"strings"
	"testing"

	"ohmkeep/internal/advise/colourloss"
	"ohmkeep/internal/network/light"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/colour"
	"ohmkeep/internal/show/showtest"
)

// lit is the invented run as commanded white and lit from white to red.
func lit(part func(k, n int) float64) *colourloss.Appearance {
	r := showtest.Run()
	r.Limits = run.Limits{ColourShift: 0.004, Dimming: 0.3}
	a := &colourloss.Appearance{Run: r, Step: run.Step{Name: "white"}, Worst: colourloss.Spot{Place: run.Place{Kind: run.AtReel, Index: 0, Pixel: 2}}}
	white := colour.XY{X: 0.3127, Y: 0.3290}.Light(100)
	for _, reel := range r.Reels {
		x := colourloss.Reel{Name: reel.Name, Full: white, Pixels: make([]colourloss.Pixel, reel.Pixels)}
		for k := range x.Pixels {
			now := part(k, reel.Pixels)
			red := colour.XY{X: 0.64, Y: 0.33}.Light(21)
			x.Pixels[k] = colourloss.Pixel{Volts: 5 * now, Output: light.Output{Light: white.Times(now).Plus(red.Times(1 - now)), Shift: 0.2 * (1 - now), Part: now}}
		}
		a.Reels = append(a.Reels, x)
	}
	return a
}

func falling(k, n int) float64 { return 1 - float64(k)/float64(n) }

func TestSeenShowsTheRun(t *testing.T) {
	for _, width := range []int{Wide, Narrow} {
		svg := drawn(t, Seen(lit(falling), width))
		for _, want := range []string{"Map room cornice", "As commanded", "As lit", "Volts at the pixels", "metres along the run", "west-north"} {
			if !strings.Contains(svg, want) {
				t.Errorf("at %d px it does not show %q", width, want)
			}
		}
	}
	wide := drawn(t, Seen(lit(falling), Wide))
	if !strings.Contains(wide, "step white") || !strings.Contains(wide, "rgba(255,255,255,1.0)") {
		t.Error("step and commanded white")
	}
	without := lit(falling)
	without.Worst = colourloss.Spot{}
	rings := strings.Count(wide, "<path") - strings.Count(drawn(t, Seen(without, Wide)), "<path")
	if rings != 3 {
		t.Errorf("%d rings round the worst pixel, want one a curve", rings)
	}
	// A run that is lit evenly takes one piece a reel and band.
	even := drawn(t, Seen(lit(func(int, int) float64 { return 1 }), Wide))
	if len(even) > len(wide)/2 {
		t.Errorf("an even run takes %d bytes, an uneven one %d", len(even), len(wide))
	}
}

// The bands hold the colours: at the lit one's far end the picture is red, in the
// commanded one white.
func TestSeenBandsHaveTheirColours(t *testing.T) {
	var b bytes.Buffer
	p := Seen(lit(falling), Wide)
	// The widest picture there is takes the race detector six seconds; for ever is longer.
	ends(t, func() error { return p.PNG(&b) })
	img, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	x := (Wide - 14 - 11) * pngUnits // within the run, which ends a hundredth of itself before the frame
	red, whiteRows := 0, 0
	for y := range img.Bounds().Dy() {
		r, g, bl, _ := img.At(x, y).RGBA()
		switch {
		case r>>8 > 200 && g>>8 < 60 && bl>>8 < 60:
			red++
		case r>>8 > 250 && g>>8 > 250 && bl>>8 > 250:
			whiteRows++
		}
	}
	if red < 8*pngUnits || whiteRows < 8*pngUnits {
		t.Errorf("%d rows are red, %d white", red, whiteRows)
	}
}

// Darkness, strange values, no reels, no run: finite pictures all the same.
func TestSeenOddInput(t *testing.T) {
	nan := func() float64 { zero := 0.0; return zero / zero }()
	dark := lit(falling)
	for i := range dark.Reels {
		dark.Reels[i].Full = colour.XYZ{}
	}
	broken := lit(func(int, int) float64 { return nan })
	none := lit(falling)
	none.Reels = nil
	for name, a := range map[string]*colourloss.Appearance{"dark": dark, "broken": broken, "none": none, "empty": {Run: &run.Run{}}} {
		t.Run(name, func(t *testing.T) { drawn(t, Seen(a, Wide)) })
	}
	hostile := lit(falling)
	hostile.Step.Name = "</svg><script>alert(1)</script>"
	if svg := drawn(t, Seen(hostile, Wide)); strings.Contains(svg, fmt.Sprint("<scr", "ipt")) {
		t.Error("a name breaks out")
	}
}

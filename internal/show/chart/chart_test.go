package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image/color"
	"image/png"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/network/prediction"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/show/showtest"
)

// ends fails a test whose drawing does not end: the library is known to go on for
// ever on ranges that are not what it expects. A minute is long enough for the race
// detector on a slow machine.
func ends(t *testing.T, do func() error) {
	t.Helper()
	done := make(chan error, 1)
	go func() { done <- do() }()
	select {
	case err := <-done:
		if err != nil {
			t.Fatal(err)
		}
	case <-time.After(time.Minute):
		t.Fatal("still drawing after a minute")
	}
}

// drawn returns the SVG of a picture after checking that it is whole: one
// well-formed element, no more than a megabyte, neither NaN nor Inf.
func drawn(t *testing.T, p *Picture) string {
	t.Helper()
	var b bytes.Buffer
	ends(t, func() error { return p.SVG(&b) })
	svg := b.String()
	if len(svg) > 1<<20 {
		t.Errorf("%d bytes", len(svg))
	}
	for _, bad := range []string{"NaN", "Inf", "-922337", "script>"} {
		if strings.Contains(svg, bad) {
			t.Errorf("the picture contains %q", bad)
		}
	}
	depth, roots := 0, 0
	for d := xml.NewDecoder(&b); ; {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("not XML: %v", err)
		}
		switch token.(type) {
		case xml.StartElement:
			if depth == 0 {
				roots++
			}
			depth++
		case xml.EndElement:
			depth--
		}
	}
	if roots != 1 || depth != 0 {
		t.Errorf("%d roots, %d elements open", roots, depth)
	}
	return svg
}

func all(a *assessment.Assessment, width int) map[string]*Picture {
	return map[string]*Picture{
		"fitted": Fitted(a, width), "resistances": Resistances(a.Elements, width), "residuals": Residuals(a.Readings, width),
	}
}

func TestPicturesShowTheRun(t *testing.T) {
	want := map[string][]string{
		"fitted":      {"Map room cornice", "west-north: fail", "far: fail", "near<", "north-east: unproven", "white 5 %", "line 9", "metres along the run"},
		"resistances": {"joint west-north<", "fail: 97.6 mΩ", "unproven: assumed 3.00 mΩ", "pass: 78.9 mΩ/m", "6.10 mΩ<"},
		"residuals":   {"line 9: −64.2", ">−2<", ">3<", "line of the file"},
	}
	for _, width := range []int{Wide, Narrow} {
		for name, p := range all(showtest.Assessment(), width) {
			svg := drawn(t, p)
			for _, w := range want[name] {
				if !strings.Contains(svg, w) {
					t.Errorf("%s at %d px does not show %q", name, width, w)
				}
			}
		}
	}
	svg := drawn(t, Predicted(showtest.Prediction(), Wide))
	if !strings.Contains(svg, "Volts as predicted") || strings.Contains(svg, "95 % band") {
		t.Error("a prediction has a title of its own and no band")
	}
}

func TestPNGHasTheSizeOfThePicture(t *testing.T) {
	var b bytes.Buffer
	p := Resistances(showtest.Assessment().Elements, Narrow)
	ends(t, func() error { return p.PNG(&b) })
	img, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	if got := img.Bounds().Dx(); got != pngUnits*Narrow {
		t.Errorf("%d dots wide, want %d", got, pngUnits*Narrow)
	}
	colours := map[color.Color]bool{}
	for x := 0; x < img.Bounds().Dx(); x += 2 {
		for y := 0; y < img.Bounds().Dy(); y += 2 {
			colours[img.At(x, y)] = true
		}
	}
	if len(colours) < 10 { // paper, text, rules, three verdicts and their edges
		t.Errorf("only %d colours: nothing was drawn", len(colours))
	}
}

func TestNamesAreHarmless(t *testing.T) {
	const hostile = "</svg><script>alert(1)</script>\x00\x1b[31m\"'&\u202e\ufffe"
	a := showtest.Assessment()
	a.Run.Name, a.Run.Reels[0].Name, a.Run.Feeds[0].Name, a.Run.Joints[0].Name = hostile, hostile, hostile, hostile
	a.Profiles[0].Step, a.Profiles[0].Reels[0].Name = hostile, hostile
	for i := range a.Elements {
		a.Elements[i].Name = hostile
	}
	a.Readings[0].Step = hostile
	for _, p := range all(a, Wide) {
		if svg := drawn(t, p); strings.Contains(svg, "<script") || strings.Contains(svg, "\x1b") {
			t.Error("a name broke out of its text")
		}
	}
	a.Run.Name = strings.Repeat("long ", 1<<16)
	drawn(t, Fitted(a, Narrow))
}

// flat returns one reel of n pixels, every one of them at the same potentials.
func flat(n int, plus, minus, band float64) *assessment.Assessment {
	r := &run.Run{Name: "flat", Reels: []run.Reel{{Name: "only", Pixels: n, Follows: -1, Strip: run.Strip{PixelsPerMetre: 60}}}}
	p := assessment.ReelProfile{Name: "only", Plus: make([]float64, n), Minus: make([]float64, n), Band: make([]float64, n)}
	for i := range n {
		p.Plus[i], p.Minus[i], p.Band[i] = plus, minus, band
	}
	return &assessment.Assessment{Run: r, Profiles: []assessment.Profile{{Step: "s", Reels: []assessment.ReelProfile{p}}}}
}

func TestOddInput(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	gaps := flat(500, 5, 0, 0.01)
	for i := 100; i < 500; i += 50 {
		gaps.Profiles[0].Reels[0].Plus[i] = nan
	}
	element := func(ohms, low, high, limit float64) *assessment.Assessment {
		return &assessment.Assessment{Elements: []assessment.Element{{Kind: run.KindJoint, Name: "j", Ohms: ohms, Low: low, High: high, Limit: limit, Known: true}}}
	}
	readings := func(z ...float64) *assessment.Assessment {
		a := flat(10, 5, 0, 0)
		for i, v := range z {
			a.Readings = append(a.Readings, assessment.Reading{Reading: reading.Reading{Row: i + 2, From: "only.end+", To: "only.end-", Value: v, Meter: "none"}, Standardised: v, Suspect: i%2 == 1})
		}
		return a
	}
	short := flat(10, 5, 0, 0)
	short.Profiles[0].Reels[0].Minus = short.Profiles[0].Reels[0].Minus[:3]
	short.Profiles[0].Reels[0].Band = nil
	ring := flat(3, 5, 0, 0)
	ring.Run.Reels[0].Follows = 0
	cases := map[string]*assessment.Assessment{
		"nothing": {}, "no profile": {Run: showtest.Run()}, "no reels": {Run: &run.Run{}, Profiles: []assessment.Profile{{}}},
		"one pixel": flat(1, 5, 0, 0.1), "two pixels": flat(2, 5, 0, 0), "all equal": flat(300, 5, 0, 0), "zero": flat(30, 0, 0, 0),
		"NaN": flat(30, nan, nan, nan), "infinite": flat(30, inf, -inf, inf), "huge": flat(30, 1e300, -1e300, 1), "gaps": gaps, "short": short, "ring": ring,
		"no elements": element(nan, nan, nan, nan), "open": element(inf, 2, inf, 0.015), "open unknown": element(inf, 0, inf, nan),
		"zero ohms": element(0, 0, 0, 0), "negative": element(-1, -2, -1, -3), "infinite limit": element(1, 0, inf, inf), "tiny": element(1e-300, 0, 1e-299, 1e-298),
		"one reading": readings(0), "wild readings": readings(nan, inf, -inf, 1e300, 7, -7, 0),
	}
	for name, a := range cases {
		t.Run(name, func(t *testing.T) {
			for _, p := range all(a, Wide) {
				drawn(t, p)
			}
			if name == "huge" || name == "nothing" || name == "one pixel" { // the renderers differ in how they stroke
				ends(t, func() error { return Fitted(a, Narrow).PNG(io.Discard) })
			}
		})
	}
	drawn(t, Predicted(&prediction.Prediction{}, Wide))
}

func TestMuchInputIsThinned(t *testing.T) {
	const n = 200_000
	a := flat(n, 5, 0, 0.01)
	p := a.Profiles[0].Reels[0]
	for i := range n { // noise, the worst case for thinning
		p.Plus[i] += 0.1 * math.Sin(float64(i)*float64(i))
	}
	for i := range 20_000 {
		a.Readings = append(a.Readings, assessment.Reading{Reading: reading.Reading{Row: i + 2}, Standardised: math.Sin(float64(i)), Used: true})
	}
	for i := range 5000 {
		a.Elements = append(a.Elements, assessment.Element{Kind: run.KindJoint, Name: fmt.Sprint(i), Ohms: 0.003, Low: 0.002, High: 0.004, Limit: 0.015})
	}
	for name, p := range all(a, Wide) {
		svg := drawn(t, p)
		if name == "resistances" && !strings.Contains(svg, "and 4940 more") {
			t.Error("elements are left out without a word")
		}
	}
}

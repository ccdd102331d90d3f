package chart

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/show/showtest"
)

// hung is what is known of the elements of showtest's run.
func hung() []HangElement {
	return []HangElement{
		{run.KindFeed, "near", assessment.Pass, "110 mΩ", ""}, {run.KindFeed, "far", assessment.Fail, "231 mΩ", ""},
		{run.KindReel, "west", assessment.Pass, "78.9 mΩ/m", ""}, {run.KindReel, "north", assessment.Pass, "80.3 mΩ/m", ""},
		{run.KindReel, "east", assessment.Unproven, "81.0 mΩ/m", ""},
		{run.KindJoint, "west-north", assessment.Fail, "97.6 mΩ", "94.9 … 100.4"}, {run.KindJoint, "north-east", assessment.Unproven, "", ""},
	}
}

// The run as it hangs has every element with its value and verdict, at every width, and says to a
// reader of the screen what fails.
func TestHangShowsTheRun(t *testing.T) {
	for _, width := range []int{Wide, Narrow} {
		svg := drawn(t, Hang(showtest.Run(), hung(), Lit{}, width))
		for _, want := range []string{"supply A, 5.1 V", "feed near from A", "110 mΩ pass", "feed far from A", "231 mΩ fail", "reel west, 4 m", "78.9 mΩ/m pass",
			"joint west-north", "97.6 mΩ fail", "94.9 … 100.4", "joint north-east", ">unproven<",
			`aria-label="Map room cornice: as it hangs; feed far fail, joint west-north fail, reel east unproven, joint north-east unproven"`} {
			if !strings.Contains(svg, want) {
				t.Errorf("at %d px no %s", width, want)
			}
		}
	}
}

// The places of a reading are lit, each with the number of its tip, and do not hide each other.
func TestHangLightsPlaces(t *testing.T) {
	r := showtest.Run()
	circle := regexp.MustCompile(`<text x="(\d+)" y="(\d+)"[^>]*>([12A])<`)
	for _, c := range []struct {
		quantity run.Quantity
		from, to string
		want     []string
		says     string
	}{
		{run.Voltage, "west.end+", "north.start+", []string{"1", "2"}, "tip 1 at west.end+, tip 2 at north.start+"},
		{run.Voltage, "north.100+", "north.100-", []string{"1", "2"}, "tip 1 at north.100+, tip 2 at north.100-"},
		{run.Voltage, "north.100+", "north.101+", []string{"1", "2"}, "tip 1 at north.100+"},
		{run.Voltage, "A+", "A-", []string{"1", "2"}, "tip 1 at A+, tip 2 at A-"},
		{run.Current, "far", "", []string{"A"}, "clamp on feed far"},
		{run.Voltage, "attic.end+", "", nil, "as it hangs"},
	} {
		svg := drawn(t, Hang(r, nil, LitReading(r, c.quantity, c.from, c.to), Narrow))
		found := circle.FindAllStringSubmatch(svg, -1)
		if len(found) != len(c.want) || !strings.Contains(svg, c.says) {
			t.Errorf("%s to %s: %v, want %v; %s", c.from, c.to, found, c.want, svg[:300])
			continue
		}
		for i, f := range found {
			if f[3] != c.want[i] {
				t.Errorf("%s to %s: %v, want %v", c.from, c.to, found, c.want)
			}
		}
		if len(found) == 2 {
			var x, y [2]float64
			for i, f := range found {
				fmt.Sscan(f[1], &x[i])
				fmt.Sscan(f[2], &y[i])
			}
			if dx, dy := (x[0]-x[1])/svgUnits, (y[0]-y[1])/svgUnits; dx*dx+dy*dy < 24*24 {
				t.Errorf("%s to %s: the numbers are %.0f, %.0f px apart", c.from, c.to, dx, dy)
			}
		}
	}
}

// Branches, rings, junctions, many reels and hostile names are drawn, and the picture stays small.
func TestHangOfOddRuns(t *testing.T) {
	branched := runtest.Parse(t, runtest.Strip("Branches")+runtest.Reels(2, "trunk", "left")+
		"[[reel]]\nname = \"right\"\nmetres = 2\nfollows = \"trunk\"\n[[joint]]\nbetween = [\"trunk\", \"right\"]\nplus = \"cut\"\n"+
		"[[junction]]\nname = \"block\"\n[[feed]]\nname = \"riser\"\nfrom = \"A\"\nto = \"block\"\nmilliohms = 10\n"+
		"[[feed]]\nname = \"near\"\nfrom = \"block\"\nto = \"trunk.start\"\nmilliohms = 10\n[[feed]]\nname = \"far\"\nfrom = \"block\"\nto = \"right.end\"\nmilliohms = 10\n")
	svg := drawn(t, Hang(branched, []HangElement{{run.KindFeed, "riser", assessment.Fail, "90 mΩ", ""}}, LitReading(branched, run.Current, "riser", ""), Wide))
	for _, want := range []string{"junction block", "feed riser from A 90 mΩ fail", "joint trunk-left", "joint trunk-right, plus cut", "feed far from block"} {
		if !strings.Contains(svg, want) {
			t.Errorf("no %q", want)
		}
	}
	ring := &run.Run{Reels: []run.Reel{{Name: "a", Follows: 1}, {Name: "b", Follows: 0}, {Name: "<script>\x1b", Follows: 2, Pixels: -3}}}
	many := &run.Run{}
	for i := range 1000 {
		many.Reels = append(many.Reels, run.Reel{Name: fmt.Sprint("reel", i), Follows: i - 1, Pixels: 60, Strip: run.Strip{PixelsPerMetre: 60}})
	}
	for _, width := range []int{Wide, Narrow} {
		for name, r := range map[string]*run.Run{"nothing": nil, "empty": {}, "ring": ring, "many": many} {
			if p := Hang(r, hung(), Lit{Feed: "none"}, width); len(drawn(t, p)) == 0 {
				t.Errorf("%s at %d px is not drawn", name, width)
			}
		}
	}
}

// A picture within a page has no style of its own, which the page's policy would forbid, and takes
// its colours from the page.
func TestInline(t *testing.T) {
	var b bytes.Buffer
	if err := Hang(showtest.Run(), hung(), Lit{}, Narrow).Inline(&b); err != nil {
		t.Fatal(err)
	}
	inline, svg := b.String(), drawn(t, Hang(showtest.Run(), hung(), Lit{}, Narrow))
	if strings.Contains(inline, "style=") || strings.Contains(inline, "rgba(") {
		t.Error("the picture has a style")
	}
	for _, want := range []string{`fill="var(--paper,#ffffff)"`, `stroke="var(--text,#1c242e)"`, `fill="var(--fail,#aa2e1a)"`, `font-size="46.0px"`, "97.6 mΩ fail"} {
		if !strings.Contains(inline, want) {
			t.Errorf("no %s", want)
		}
	}
	if texts := regexp.MustCompile(`>[^<]+<`); strings.Join(texts.FindAllString(inline, -1), "") != strings.Join(texts.FindAllString(svg, -1), "") {
		t.Error("the texts differ")
	}
	if got := presentation("stroke:rgba(22,105,130,0.4);stroke-width:4;fill:none"); got != `stroke="var(--pass,#166982)" stroke-opacity="0.4" stroke-width="4" fill="none"` {
		t.Error(got)
	}
}

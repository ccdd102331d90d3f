package runfile

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ohmkeep/internal/fault"
	"ohmkeep/internal/run"
)

// checkInvariants fails where a run violates the documented properties of its types.
func checkInvariants(t *testing.T, r *run.Run) {
	t.Helper()
	ok := func(what string, holds bool) {
		t.Helper()
		if !holds {
			t.Errorf("%s: %s", r.File, what)
		}
	}
	fine := func(x float64) bool { return x >= 0 && !math.IsInf(x, 0) }
	ok("name", r.Name != "")
	ok("parts", len(r.Supplies) > 0 && len(r.Reels) > 0 && len(r.Feeds) > 0 && len(r.Meters) > 0)
	for _, s := range r.Supplies {
		ok("supply", s.Volts > 0 && s.Amps > 0 && fine(s.Ohms))
	}
	followed := 0
	for i, reel := range r.Reels {
		ok("reel", reel.Pixels >= 1 && reel.Pixels <= mostPixels && reel.Follows >= -1 && reel.Follows < len(r.Reels) && reel.Follows != i)
		if reel.Follows >= 0 {
			followed++
		}
		s := reel.Strip
		ok("strip", s.Volts > 0 && s.PixelsPerMetre > 0 && fine(s.Idle) && fine(s.LoopOhms) && len(s.Channels) > 0 && len(s.Channels) <= 4)
		for _, c := range s.Channels {
			ok("channel", c.Amps > 0 && fine(c.Amps) && fine(c.Forward) && fine(c.Knee) && fine(c.Ohms) && c.Light.Y > 0 && c.Light.X >= 0 && c.Light.Z >= 0 && c.Knee <= s.Volts && c.Forward <= s.Volts)
			ok("linear", s.Driver != run.Linear || c.Forward < c.Knee)
			ok("resistor", s.Driver != run.Resistor || c.Ohms > 0 && math.Abs(c.Amps*c.Ohms/(s.Volts-c.Forward)-1) < 1e-9)
			ok("regulated", s.Driver != run.Regulated || c.Knee > 0)
		}
	}
	ok("every joint", len(r.Joints) == followed)
	for _, j := range r.Joints {
		ok("joint", r.Reels[j.To].Follows == j.From && fine(j.Ohms) && j.Limit > 0 && j.Name == r.Reels[j.From].Name+"-"+r.Reels[j.To].Name)
	}
	for _, f := range r.Feeds {
		ok("feed", fine(f.Length) && fine(f.WireOhms) && fine(f.Ohms) && fine(f.Ampacity) && fine(f.Fuse) && f.TempCo > 0)
		ok("feed ends", f.From.Kind != run.AtReel && f.To.Kind != run.AtSupply && f.From != f.To)
		for _, p := range []run.Place{f.From, f.To} {
			back, err := r.Place(r.PlaceName(p))
			ok("place "+r.PlaceName(p), err == nil && back == p)
		}
	}
	for _, s := range r.Steps {
		ok("step", s.Name != "" && r.StepIndex(s.Name) >= 0)
		for _, level := range s.Levels {
			ok("level", level >= 0 && level <= 1)
		}
	}
	for _, m := range r.Meters {
		ok("meter", len(m.Ranges) > 0)
		for _, g := range m.Ranges {
			ok("range", g.UpTo > 0 && g.Resolution > 0 && fine(g.Fraction) && fine(g.Counts))
		}
	}
	ok("design step", r.Limits.DesignStep >= -1 && r.Limits.DesignStep < len(r.Steps))
	ok("limits", r.Limits.JointOhms > 0 && r.Limits.FeedDrop > 0 && r.Limits.FeedExcess > 0 && fine(r.Limits.ConnectorOhms) && r.Limits.ColourShift > 0 && r.Limits.Dimming > 0 && r.Limits.Dimming <= 1)
	for _, p := range r.Probes {
		ok("probe", p.Meter >= -1 && p.Meter < len(r.Meters) && len(p.Channels) > 0)
	}
	for _, rail := range []run.Rail{run.Plus, run.Minus} {
		ok("reels reached", len(r.Unreached(rail)) == 0)
	}
	ok("junctions fed", len(r.Unfed()) == 0)
}

// FuzzParse: nothing panics; a file is refused with faults that have a place, or
// gives a run with the documented properties.
func FuzzParse(f *testing.F) {
	files, _ := filepath.Glob("../../../testdata/runs/*.toml")
	if len(files) == 0 {
		f.Fatal("no example runs to begin with")
	}
	for _, file := range files {
		src, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(src)
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		r, err := Parse("f.toml", src)
		if err == nil {
			checkInvariants(t, r)
			return
		}
		var list fault.List
		if !errors.As(err, &list) || len(list) == 0 {
			t.Fatalf("no list of faults: %v", err)
		}
		for _, one := range list {
			// Only what is missing from the file as a whole has no line.
			if one.Line < 0 || one.Line > 1+strings.Count(string(src), "\n") || one.Line == 0 && one.Text != "is missing" {
				t.Errorf("no such line: %v", one)
			}
		}
	})
}

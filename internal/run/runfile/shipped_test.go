package runfile

import (
	"math"
	"path/filepath"
	"testing"

	"ohmkeep/internal/run"
)

// TestShipped reads every example run of the project.
func TestShipped(t *testing.T) {
	files, err := filepath.Glob("../../../testdata/runs/*.toml")
	if err != nil || len(files) < 5 {
		t.Fatalf("%d example runs, %v", len(files), err)
	}
	for _, file := range files {
		r, err := Load(file)
		if err != nil {
			t.Error(err)
			continue
		}
		checkInvariants(t, r)
		if len(r.Paralleled()) != 0 {
			t.Errorf("%s: two supplies share a plus rail", file)
		}
	}
}

func TestLoadNothing(t *testing.T) {
	if _, err := Load("no such file.toml"); err == nil {
		t.Error("a file that is not there was read")
	}
}

func load(t *testing.T, name string) *run.Run {
	t.Helper()
	r, err := Load("../../../testdata/runs/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if !(math.Abs(got-want) <= 1e-9*math.Max(1, math.Abs(want))) {
		t.Errorf("%s: %g, want %g", what, got, want)
	}
}

func TestCornice(t *testing.T) {
	r := load(t, "cornice.toml")
	if r.Name != "Map room cornice" || len(r.Reels) != 3 || len(r.Joints) != 2 || len(r.Meters) != 2 {
		t.Fatalf("%+v", r)
	}
	near(t, "ambient", r.Ambient, 24)
	near(t, "supply", r.Supplies[0].Ohms, 0.005)
	if r.Reels[1].Pixels != 300 || r.Reels[2].Pixels != 240 || r.Reels[2].Follows != 1 {
		t.Errorf("%+v", r.Reels)
	}
	j := r.Joints[0]
	if j.Name != "west-north" || j.PlusCut {
		t.Errorf("%+v", j)
	}
	near(t, "joint", j.Ohms, 0.004)
	near(t, "its limit", j.Limit, 0.020)
	near(t, "another joint", r.Joints[1].Ohms, 0.003)
	near(t, "its limit", r.Joints[1].Limit, 0.015)
	red, green := r.Reels[0].Strip.Channels[0], r.Reels[0].Strip.Channels[1]
	near(t, "red", red.Amps, 0.012)
	near(t, "green", green.Amps, 0.0115)
	if red.Knee > 0.8*5 || green.Knee > 0.8*5 || red.Knee >= green.Knee {
		t.Errorf("knees %g and %g", red.Knee, green.Knee)
	}
	// 18 AWG has 0.020948 Ω/m (ASTM B258 and 1/58), stranded 1.02 times that (NEC chapter 9 Table 8).
	feed := r.Feeds[0]
	if math.Abs(feed.WireOhms-2*2.5*0.020948*1.02) > 2e-6 || feed.Ohms != feed.WireOhms || feed.Stated {
		t.Errorf("%+v", feed)
	}
	if feed.Like(feed.Ohms) != "18 AWG" || feed.Like(2.53*feed.Ohms) != "22 AWG" {
		t.Errorf("like %s and %s", feed.Like(feed.Ohms), feed.Like(2.53*feed.Ohms))
	}
	if to := r.PlaceName(r.Feeds[1].To); to != "east.end" {
		t.Errorf("far ends at %s", to)
	}
	if r.Limits.DesignStep != 1 || r.Limits.FeedDrop != 0.03 || r.Limits.ConnectorOhms != 0.010 {
		t.Errorf("%+v", r.Limits)
	}
	if !r.Meters[1].Each || r.Meters[0].Each || !math.IsInf(r.Meters[1].Ranges[0].UpTo, 1) || r.Probes[0].Meter != 1 {
		t.Errorf("%+v %+v", r.Meters, r.Probes)
	}
}

func TestFacade(t *testing.T) {
	r := load(t, "facade.toml")
	if !r.Joints[1].PlusCut || r.Joints[0].PlusCut || len(r.Meters) != 1 || r.Meters[0].Name != "hand" {
		t.Errorf("%+v %+v", r.Joints, r.Meters)
	}
	if r.Meters[0].Range(run.Voltage, 0.5) != 0 || r.Meters[0].Range(run.Voltage, 5) != 1 || r.Meters[0].Range(run.Current, 7) != 4 {
		t.Errorf("%+v", r.Meters[0])
	}
	if r.Supplies[0].Known != true || r.Reels[0].Strip.Driver != run.Linear || len(r.Reels[0].Strip.Channels) != 3 {
		t.Errorf("%+v %+v", r.Supplies[0], r.Reels[0])
	}
}

func TestGallery(t *testing.T) {
	r := load(t, "gallery.toml")
	if len(r.Joints) != 2 || r.Joints[0].Name != "hall-left-wing" || r.Joints[1].Name != "hall-right-wing" || r.Reels[3].Follows != -1 {
		t.Errorf("%+v", r.Joints)
	}
	near(t, "showcase", r.Reels[3].Strip.PixelsPerMetre, 20)
	near(t, "riser", r.Feeds[3].Ohms, 0.210)
	if r.Feeds[3].Like(0.3) != "" || r.Feeds[5].WireOhms != 0 || r.Feeds[2].To != (run.Place{Kind: run.AtReel, Index: 1, Pixel: 50}) {
		t.Errorf("%+v", r.Feeds)
	}
	near(t, "cca carries 80 %", r.Feeds[4].Ampacity, 0.8*6) // 18 AWG, see conductor
	if red := r.Reels[0].Strip.Channels[0]; red.Forward != 9 || red.Knee != 12 {
		t.Errorf("%+v", red)
	}
}

func TestKitchen(t *testing.T) {
	r := load(t, "kitchen.toml")
	white := r.Reels[0].Strip.Channels[3]
	if white.Name != "white" || white.Ohms != 500 || white.Forward != 9 {
		t.Errorf("%+v", white)
	}
	near(t, "white", white.Amps, (12.0-9)/500)
	plinth := r.Reels[1].Strip
	if plinth.Driver != run.Regulated || len(plinth.Channels) != 1 || plinth.Channels[0].Knee != 8 || plinth.Volts != 12 {
		t.Errorf("%+v", plinth)
	}
}

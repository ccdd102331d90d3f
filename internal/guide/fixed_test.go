package guide

import (
	"context"
	"errors"
	"path/filepath"
	"strings"
	"testing"

	"ohmkeep/internal/assess/walk"
	"ohmkeep/internal/instrument/survey"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// fixed is an instrument that shows one value, or has an error.
type fixed struct {
	survey.Device
	shown string
	err   error
}

func (f fixed) Measure(_ context.Context, channel string, q run.Quantity) (reading.Sample, error) {
	return reading.Sample{Channel: channel, Reading: reading.Reading{Quantity: q, Value: 1.25, Text: f.shown, Unit: reading.Unit(q)}}, f.err
}

// A fixed probe that was unplugged is said to have missed its places; what the others read is taken.
func TestFixedProbeUnplugged(t *testing.T) {
	r := loaded(t)
	probe := func(name, feed string, f fixed) survey.Probe {
		return survey.Probe{Probe: run.Probe{Name: name, Channels: []run.ProbeChannel{{ID: "1", Quantity: run.Current, From: feed}}}, Device: f}
	}
	s, _ := begin(t, Config{Run: r, Store: open(t, filepath.Join(t.TempDir(), "walk.store")), Probes: []survey.Probe{
		probe("west", r.Feeds[0].Name, fixed{err: errors.New("the port is gone")}),
		probe("east", r.Feeds[1].Name, fixed{shown: "1.25"}),
	}})
	if err := s.Do(t.Context(), s.Snapshot().Walk.Number(), walk.Event{Kind: walk.Shown, Step: r.Steps[0].Name}); err != nil {
		t.Fatal(err)
	}
	x := s.Snapshot()
	if len(x.Missed) != 1 || !strings.Contains(x.Missed[0].Place, r.Feeds[0].Name) || x.Missed[0].Why != "probe west: the port is gone" {
		t.Errorf("missed %v", x.Missed)
	}
	if x.Task.Taken != 1 {
		t.Errorf("%d readings taken, want that of the probe that is there", x.Task.Taken)
	}
}

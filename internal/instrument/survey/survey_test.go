package survey

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
)

// tee is an invented run: supply A feeds a block, and the block feeds the start of reel west and
// pixel 40 of reel north behind it.
func tee() *run.Run {
	block := run.Place{Kind: run.AtJunction}
	return &run.Run{
		Supplies:  []run.Supply{{Name: "A"}},
		Junctions: []run.Junction{{Name: "block"}},
		Reels:     []run.Reel{{Name: "west", Pixels: 120, Follows: -1}, {Name: "north", Pixels: 60, Follows: 0}},
		Joints:    []run.Joint{{Name: "west-north", From: 0, To: 1}},
		Feeds: []run.Feed{
			{Name: "trunk", From: run.Place{Kind: run.AtSupply}, To: block},
			{Name: "near", From: block, To: run.Place{Kind: run.AtReel, Index: 0, Pixel: 1}},
			{Name: "tap", From: block, To: run.Place{Kind: run.AtReel, Index: 1, Pixel: 40}},
		},
		Steps: []run.Step{{Name: "dark"}, {Name: "white"}},
		Meters: []run.Meter{
			{Name: "bench", Ranges: []run.Range{{Quantity: run.Voltage, UpTo: 6, Resolution: 0.001}}},
			{Name: "sensor", Ranges: []run.Range{{Quantity: run.Current, UpTo: 5, Resolution: 0.01}}},
		},
	}
}

func volts(from, to string) Visit { return Visit{run.Voltage, from, to} }
func amps(feed string) Visit      { return Visit{Quantity: run.Current, From: feed} }

func TestThorough(t *testing.T) {
	want := []Visit{
		volts("A+", "A-"), amps("trunk"), amps("near"), amps("tap"), volts("block+", "block-"),
		volts("west.start+", "west.start-"), volts("west.end+", "west.end-"),
		volts("west.end+", "north.start+"), volts("north.start-", "west.end-"),
		volts("north.start+", "north.start-"), volts("north.40+", "north.40-"), volts("north.end+", "north.end-"),
	}
	r := tee()
	got := Thorough(r)
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %v\nwant %v", got, want)
	}
	for _, v := range got {
		if v.Quantity != run.Voltage {
			continue
		}
		for _, name := range []string{v.From, v.To} {
			if _, err := r.Point(name); err != nil {
				t.Errorf("%v: %v", v, err)
			}
		}
	}
}

// A reel of one pixel has one pair, however many names its place has.
func TestThoroughOncePerPlace(t *testing.T) {
	r := tee()
	r.Reels = []run.Reel{{Name: "dot", Pixels: 1, Follows: -1}}
	r.Joints, r.Feeds, r.Junctions = nil, r.Feeds[:0], nil
	if got := Thorough(r); !reflect.DeepEqual(got, []Visit{volts("A+", "A-"), volts("dot.start+", "dot.start-")}) {
		t.Error(got)
	}
}

func TestVisitInWords(t *testing.T) {
	for v, want := range map[Visit]string{
		volts("A+", "A-"): "A+ to A-",
		amps("near"):      `the current of feed "near"`,
		{Quantity: run.Temperature, From: "west"}: `the temperature of "west"`,
	} {
		if v.String() != want {
			t.Error(v)
		}
	}
}

// device is an instrument that returns set values and records the queries.
type device struct {
	say   func(channel string, q run.Quantity) (reading.Sample, error)
	asked []string
}

func (d *device) Close() error { return nil }
func (d *device) Measure(_ context.Context, channel string, q run.Quantity) (reading.Sample, error) {
	d.asked = append(d.asked, fmt.Sprint(channel, " ", q))
	return d.say(channel, q)
}

// says returns the same value for every sample.
func says(value float64) func(string, run.Quantity) (reading.Sample, error) {
	return func(channel string, q run.Quantity) (reading.Sample, error) {
		return reading.Sample{Channel: channel, Reading: reading.Reading{Time: time.Unix(1, 0), Quantity: q, Value: value, Text: fmt.Sprint(value), Unit: "V"}}, nil
	}
}

// guide records what the survey shows, and answers its questions by leave and fail.
type guide struct {
	log         []string
	took        []reading.Reading
	leave, fail string
}

func (g *guide) note(text string) error {
	g.log = append(g.log, text)
	switch {
	case g.leave != "" && strings.Contains(text, g.leave):
		return Skip{}
	case g.fail != "" && strings.Contains(text, g.fail):
		return errAway
	}
	return nil
}

var errAway = errors.New("gone home")

func (g *guide) Step(_ context.Context, s run.Step) error { return g.note("step " + s.Name) }
func (g *guide) Reach(_ context.Context, v Visit) error   { return g.note("reach " + v.String()) }
func (g *guide) Missed(v Visit, why string)               { _ = g.note("missed " + v.String() + ": " + why) }
func (g *guide) Took(_ context.Context, x reading.Reading) error {
	g.took = append(g.took, x)
	return g.note("took " + x.From)
}

// scene is a survey of two visits with a fixed sensor at one and a carried meter.
func scene() (s *Survey, sensor, meter *device) {
	sensor, meter = &device{say: says(1.5)}, &device{say: says(5)}
	return &Survey{
		Run:    tee(),
		Steps:  tee().Steps,
		Visits: []Visit{amps("near"), volts("A+", "A-"), volts("block+", "block-"), {Quantity: run.Temperature, From: "west"}},
		Probes: []Probe{
			{Probe: run.Probe{Name: "meter", Meter: 0, Channels: []run.ProbeChannel{{ID: "leads", Quantity: run.Voltage}}}, Device: meter},
			{Probe: run.Probe{Name: "board", Meter: 1, Channels: []run.ProbeChannel{{ID: "2", Quantity: run.Current, From: "near"}}}, Device: sensor},
		},
	}, sensor, meter
}

// The fixed sensor is read first, and its place is not among the visits. What no probe reads is
// left out.
func TestTake(t *testing.T) {
	s, sensor, meter := scene()
	g := &guide{}
	if err := s.Take(t.Context(), g); err != nil {
		t.Fatal(err)
	}
	each := func(step string) []string {
		return []string{"step " + step, "took near", "reach A+ to A-", "took A+", "reach block+ to block-", "took block+"}
	}
	if want := append(each("dark"), each("white")...); !reflect.DeepEqual(g.log, want) {
		t.Errorf("got  %q\nwant %q", g.log, want)
	}
	want := []reading.Reading{
		{Time: time.Unix(1, 0), Step: "dark", Quantity: run.Current, From: "near", Text: "1.5", Unit: "V", Value: 1.5, Meter: "sensor"},
		{Time: time.Unix(1, 0), Step: "dark", Quantity: run.Voltage, From: "A+", To: "A-", Text: "5", Unit: "V", Value: 5, Meter: "bench"},
	}
	if !reflect.DeepEqual(g.took[:2], want) {
		t.Errorf("got  %+v\nwant %+v", g.took[:2], want)
	}
	if !reflect.DeepEqual(sensor.asked, []string{"2 current", "2 current"}) || len(meter.asked) != 4 || meter.asked[0] != "leads voltage" {
		t.Error(sensor.asked, meter.asked)
	}
}

func TestTakeLeavesOut(t *testing.T) {
	s, _, meter := scene()
	g := &guide{leave: "step dark"}
	if err := s.Take(t.Context(), g); err != nil || len(g.took) != 3 || g.took[0].Step != "white" {
		t.Errorf("without the dark: %q, %v", g.log, err)
	}
	g = &guide{leave: "reach A+"}
	if err := s.Take(t.Context(), g); err != nil || len(g.took) != 4 {
		t.Errorf("without the supply: %q, %v", g.log, err)
	}

	meter.say = func(string, run.Quantity) (reading.Sample, error) {
		return reading.Sample{Reading: reading.Reading{Quality: reading.Overload}, Fault: "overload"}, nil
	}
	g = &guide{}
	if err := s.Take(t.Context(), g); err != nil || len(g.took) != 2 || g.log[3] != "missed A+ to A-: overload" {
		t.Errorf("overload: %q, %v", g.log, err)
	}
	meter.say = says(6.5)
	g = &guide{}
	if err := s.Take(t.Context(), g); err != nil || len(g.took) != 2 || g.log[3] != `missed A+ to A-: 6.5 V is more than meter "bench" is described for` {
		t.Errorf("beyond the ranges: %q, %v", g.log, err)
	}
}

func TestTakeEnds(t *testing.T) {
	for _, at := range []string{"step white", "reach block+", "took near"} {
		s, _, _ := scene()
		g := &guide{fail: at}
		if err := s.Take(t.Context(), g); !errors.Is(err, errAway) || !strings.HasPrefix(g.log[len(g.log)-1], at) {
			t.Errorf("%s: %v after %q", at, err, g.log)
		}
	}
	errGone := errors.New("unplugged")
	s, sensor, _ := scene()
	sensor.say = func(string, run.Quantity) (reading.Sample, error) { return reading.Sample{}, errGone }
	if err := s.Take(t.Context(), &guide{}); !errors.Is(err, errGone) || err.Error() != "probe board: unplugged" {
		t.Error(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	sensor.say = func(string, run.Quantity) (reading.Sample, error) { stop(); return reading.Sample{}, errGone }
	if err := s.Take(ctx, &guide{}); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}

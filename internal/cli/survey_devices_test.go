package cli

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"os"
	"testing"
	"time"

	"ohmkeep/internal/assess/walk"
	"ohmkeep/internal/guide"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/devices"
)

// late is a standard input that gives an answer after something else has happened.
type late struct {
	happens func()
	answer  string
}

func (l late) Read(b []byte) (int, error) {
	l.happens()
	return copy(b, l.answer), nil
}

// What is answered at a terminal concerns the walk as its question has shown it: after another device has
// gone on, nothing of that is taken back, left out or set. A note is kept in any case.
func TestSurveyBesideAnotherDevice(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf)
	for _, c := range []struct {
		answer  string
		refused bool
	}{{"u\n", true}, {"s\n", true}, {"n a cracked cover\n", false}} {
		r := runtest.Load(t, "shelf.toml")
		g := guide.New(guide.Config{Run: r, Own: len(r.Meters), All: true, Steps: []string{"dark"}})
		if err := g.Prepare(t.Context()); err != nil {
			t.Fatal(err)
		}
		do := func(e walk.Event) {
			if err := g.Do(t.Context(), g.Snapshot().Walk.Number(), e); err != nil {
				t.Fatal(err)
			}
		}
		do(walk.Event{Kind: walk.Shown, Step: "dark"})
		other := func() { do(walk.SkipEvent(g.Snapshot().Task.Read)) }
		terminal := &walkTerminal{in: bufio.NewReader(late{other, c.answer}), out: &bytes.Buffer{}, session: g, wait: 1, decided: map[string]bool{}, warned: map[string]bool{}}
		before := g.Snapshot().Walk.Number()
		err := terminal.one(t.Context())
		after := g.Snapshot().Walk.Number() - before
		if errors.Is(err, walk.ErrStale) != c.refused || c.refused && after != 1 || !c.refused && (err != nil || after != 2) {
			t.Errorf("%q: %v, %d events", c.answer, err, after)
		}
	}
}

// A meter that is unplugged during a walk and connected again, now to another device of the system, is read again.
func TestSurveyMeterUnpluggedAndBack(t *testing.T) {
	s := newSession(t)
	s.write("shelf.toml", shelf+"[[probe]]\nname = \"hand\"\nprofile = \"fs9721\"\nport = \"meter\"\n[[probe.channel]]\nid = \"display\"\nquantity = \"voltage\"\n")
	var plugged *devices.Handheld
	plug := func(shown string) {
		_ = os.Remove("meter")
		port := terminal(t, func(p *devices.Pair) runner {
			plugged = devices.NewHandheld(p, func() []byte { return devices.SegmentPicture(shown, "V", "DC") }, 40*time.Millisecond)
			return plugged
		})
		if err := os.Symlink(port, "meter"); err != nil {
			t.Fatal(err)
		}
	}
	plug("4.812")
	r, err := loadRun("shelf.toml")
	if err != nil {
		t.Fatal(err)
	}
	list, absent, err := openProbes(t.Context(), r, "shelf.toml")
	if err != nil || len(absent) > 0 || len(list) != 1 {
		t.Fatal(list, absent, err)
	}
	defer closeProbes(list)
	ctx, stop := context.WithTimeout(t.Context(), time.Minute) // a frame comes every 40 ms
	defer stop()
	if x, err := list[0].Device.Measure(ctx, "display", run.Voltage); err != nil || x.Text != "4.812" {
		t.Fatal(x, err)
	}
	if err := plugged.Unplug(); err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := list[0].Device.Measure(ctx, "display", run.Voltage); err != nil {
			break
		}
	}
	plug("4.796")
	if x, err := list[0].Device.Measure(ctx, "display", run.Voltage); err != nil || x.Text != "4.796" {
		t.Errorf("after it was connected again: %v, %v", x, err)
	}
}

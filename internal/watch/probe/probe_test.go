package probe_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/port"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/instrument/transcript"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
	"ohmkeep/internal/simulate/devices"
	"ohmkeep/internal/watch/probe"
)

// shelf is an invented run whose probes are simulated.
var shelf = runtest.Strip("Shelf") + runtest.Reels(2, "west") + runtest.Feed("west.start", "18 AWG") + runtest.White("white 5 %", 0.05) + `
[[probe]]
name = "board"
profile = "ina226-lines"
port = "simulated"
[[probe.channel]]
id = "1"
quantity = "current"
from = "near"
[[probe.channel]]
id = "1"
quantity = "voltage"
from = "west.start+"
to = "west.start-"
[[probe]]
name = "plain"
profile = "plain-lines"
port = "simulated"
[[probe.channel]]
id = "strip"
quantity = "temperature"
from = "west"
[[probe]]
name = "meter"
profile = "scpi-ranges"
port = "simulated"
[[probe.channel]]
id = "a"
quantity = "voltage"
from = "A+"
to = "A-"
`

func load(t *testing.T, name string) *profile.Profile {
	t.Helper()
	p, err := profile.Load(name, "")
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func bounded(t *testing.T) context.Context {
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	t.Cleanup(cancel)
	return ctx
}

// quick sets the waiting times of a profile to zero.
func quick(p *profile.Profile) *profile.Profile {
	p.Query.Every = time.Millisecond
	for _, ranges := range p.Query.Functions {
		for i := range ranges {
			ranges[i].Settle = time.Millisecond
		}
	}
	return p
}

// A simulated probe sends values of the run: the supply's voltage, the current of 120 pixels with 5
// % of 3 · 12 mA and 0.8 mA idle, the copper's temperature. Its identity says that it is simulated.
func TestSimulated(t *testing.T) {
	r := runtest.Parse(t, shelf)
	opener := &probe.Opener{Run: r}
	got := map[string]float64{}
	for _, x := range r.Probes {
		device, err := opener.Open(t.Context(), x, quick(load(t, x.Profile)), instrument.Options{})
		if err != nil {
			t.Fatal(err)
		}
		for tries := 0; tries < 50; tries++ {
			s, err := device.Next(bounded(t))
			if err != nil {
				t.Fatal(err)
			}
			if s.Good() {
				got[x.Name+" "+s.Channel+" "+s.Quantity.String()] = s.Value
			}
			if s.Good() && (tries > 0 || x.Name == "plain") {
				break
			}
		}
		if !strings.Contains(device.Identity(), "SIMULATED") {
			t.Errorf("%s says it is %q", x.Name, device.Identity())
		}
		if err := device.Close(); err != nil {
			t.Error(err)
		}
	}
	amps := 120 * (0.05*3*0.012 + 0.0008)
	for what, want := range map[string]struct{ middle, off float64 }{
		"board 1 current": {amps, 0.2 * amps}, "board 1 voltage": {5.05, 0.15},
		"plain strip temperature": {20, 13}, "meter a voltage": {5.1, 0.1},
	} {
		if x, ok := got[what]; !ok || x < want.middle-want.off || x > want.middle+want.off {
			t.Errorf("%s: %v, want %v ± %v (of %v)", what, x, want.middle, want.off, got)
		}
	}
}

func TestSimulatedFaults(t *testing.T) {
	r := runtest.Parse(t, shelf)
	for _, c := range []struct {
		opener  *probe.Opener
		profile string
		want    string
	}{
		{&probe.Opener{}, "plain-lines", "name a run file and its probe"},
		{&probe.Opener{Run: r}, "ina228-registers", "no simulated device fits profile ina228-registers"},
		{&probe.Opener{Run: r}, "hwmon-ina2xx", "nothing else is recorded or simulated"},
	} {
		x := run.Probe{Name: "x", Port: probe.Simulated}
		if _, err := c.opener.Open(t.Context(), x, load(t, c.profile), instrument.Options{}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want %q", c.profile, err, c.want)
		}
	}
}

// The shunt of the run file corrects the sample, and is refused for a channel without one.
func TestRunFilesShunt(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, "t.txt", "# ohmkeep transcript 1\n# begun: 2026-05-04T10:12:00Z\n0.1 < \"ch=1 bus=9584 shunt=8000\\n\"\n")
	x := run.Probe{Name: "board", Port: "transcript:t.txt", Channels: []run.ProbeChannel{{ID: "1", Quantity: run.Current, From: "near", Shunt: 0.004}}}
	opener := &probe.Opener{Dir: dir}
	device, err := opener.Open(t.Context(), x, load(t, "ina226-lines"), instrument.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer device.Close()
	for _, want := range []float64{11.98, 5} { // the worked example's 10 A over twice the shunt
		if s, err := device.Next(bounded(t)); err != nil || s.Value != want {
			t.Errorf("%+v, %v, want %g", s, err, want)
		}
	}
	// After its last entry the transcript is silent, like a probe without power, and does not start
	// again.
	short, cancel := context.WithTimeout(t.Context(), 30*time.Millisecond)
	defer cancel()
	if _, err := device.Next(short); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("got %v", err)
	}
	if _, err := opener.Open(t.Context(), x, load(t, "plain-lines"), instrument.Options{}); err == nil || !strings.Contains(err.Error(), "does not state the shunt") {
		t.Errorf("got %v", err)
	}
}

func write(t *testing.T, dir, name, text string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// tell writes a sample and its time as text.
func tell(s reading.Sample) string {
	return fmt.Sprintf("%d %s %s %s %s %s %s", s.Time.UnixMicro(), s.Channel, s.Quantity, s.Text, s.Unit, s.Quality, s.Raw)
}

// A board is recorded with each fault that a line can have. Replayed, it gives the same samples at
// the same times.
func TestRecordReplayBoard(t *testing.T) {
	pair := devices.NewPair()
	sim := devices.NewPlainBoard(pair, nil, func(string, run.Quantity) float64 { return 0 }, time.Hour)
	p := load(t, "plain-lines")
	var file bytes.Buffer
	w := transcript.NewWriter(&file, probe.Head(run.Probe{Profile: p.Name, Port: "x"}, p, time.Now()))
	device, err := instrument.Open(t.Context(), p, pair.Path, instrument.Options{Conn: pair.Host, Log: probe.Record(w, p)})
	if err != nil {
		t.Fatal(err)
	}
	go func() {
		for _, text := range []string{"# serial 7\r\n1,4.812,V\r\n", "\xff\xfe\x00\n1,NaN,V\n", strings.Repeat("9", 900) + "\n", "2,2310.50,mA\n1,4.813,V\n"} {
			_ = sim.Send(text)
			time.Sleep(5 * time.Millisecond)
		}
	}()
	var live []string
	for err == nil {
		var s reading.Sample
		if s, err = device.Next(bounded(t)); err == nil {
			live = append(live, tell(s))
		}
		if len(live) == 3 { // all is heard: what a hang-up finds unread is lost
			_ = sim.Unplug()
		}
	}
	_ = device.Close()
	if err := w.Close(); err != nil || len(live) != 3 {
		t.Fatalf("%q, %v", live, err)
	}
	before := device.Counters()
	again, counters, who := replayed(t, file.String(), p)
	if strings.Join(again, "\n") != strings.Join(live, "\n") {
		t.Errorf("live\n%s\nreplayed\n%s", strings.Join(live, "\n"), strings.Join(again, "\n"))
	}
	// The line that was too long is recorded in pieces, and pieces are not replayed.
	if before.Lines--; counters.Lines != before.Lines || counters.Bad != before.Bad-1 || who != "# serial 7" {
		t.Errorf("live %+v, replayed %+v, %q", before, counters, who)
	}
	if !strings.Contains(file.String(), `longer than 512 bytes`) {
		t.Error(file.String())
	}
}

func replayed(t *testing.T, text string, p *profile.Profile) ([]string, instrument.Counters, string) {
	t.Helper()
	x, err := transcript.Read("t.txt", strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	device, err := probe.Replay(bounded(t), x, p, false, instrument.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer device.Close()
	var list []string
	for {
		s, err := device.Next(bounded(t))
		if errors.Is(err, port.ErrGone) {
			return list, device.Counters(), device.Identity()
		}
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, tell(s))
	}
}

// A meter that changes function and range is recorded. Replayed, it gives the same samples,
// unsettled ones included, without waiting.
func TestRecordReplayMeter(t *testing.T) {
	pair := devices.NewPair()
	sim, err := devices.NewMultimeter(pair, func(q run.Quantity) float64 { return []float64{4.8, 0.3, 20}[q] })
	if err != nil {
		t.Fatal(err)
	}
	playing, stop := context.WithCancel(t.Context())
	var done sync.WaitGroup
	done.Go(func() { _ = sim.Run(playing) })
	defer done.Wait()
	defer stop()

	p := quick(load(t, "scpi-ranges"))
	p.Query.Turn, p.Query.Every = 2, 10*time.Millisecond
	for _, ranges := range p.Query.Functions {
		for i := range ranges {
			ranges[i].Settle = 25 * time.Millisecond
		}
	}
	x := run.Probe{Profile: p.Name, Port: pair.Path, Channels: []run.ProbeChannel{{ID: "far end", Quantity: run.Voltage}, {ID: "i", Quantity: run.Current}}}
	var file bytes.Buffer
	w := transcript.NewWriter(&file, probe.Head(x, p, time.Now()))
	device, err := new(probe.Opener).Open(t.Context(), x, p, instrument.Options{Conn: pair.Host, Log: probe.Record(w, p)})
	if err != nil {
		t.Fatal(err)
	}
	var live []string
	for range 30 {
		s, err := device.Next(bounded(t))
		if err != nil {
			t.Fatal(err)
		}
		live = append(live, tell(s))
	}
	_ = device.Close()
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	p.Query.Every = time.Hour // the transcript's time passes, not the wall's
	again, _, who := replayed(t, file.String(), p)
	if strings.Join(again, "\n") != strings.Join(live, "\n") || who != devices.MeterIdentity {
		t.Errorf("live\n%s\nreplayed\n%s", strings.Join(live, "\n"), strings.Join(again, "\n"))
	}
	if text := strings.Join(live, "\n"); !strings.Contains(text, "unsettled") || !strings.Contains(text, "far end voltage +4.80000000E+00 V good") || !strings.Contains(text, "i current") {
		t.Errorf("a poor test:\n%s", text)
	}
}

func TestReplayFaults(t *testing.T) {
	x := &transcript.Transcript{Head: transcript.Head{Channels: []string{"leads ohms"}}}
	if _, err := probe.Replay(t.Context(), x, load(t, "scpi-multimeter"), false, instrument.Options{}); err == nil || !strings.Contains(err.Error(), `"leads ohms" is not an id and quantity`) {
		t.Errorf("got %v", err)
	}
	dir := t.TempDir()
	x2 := run.Probe{Name: "x", Port: "transcript:none.txt"}
	if _, err := (&probe.Opener{Dir: dir}).Open(t.Context(), x2, load(t, "plain-lines"), instrument.Options{}); err == nil || err.Error() != filepath.Join(dir, "none.txt")+": no such file or directory" {
		t.Errorf("got %v", err)
	}
}

package recorder

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"ohmkeep/internal/reading"
)

// chip is a device as the kernel shows it (Documentation/hwmon/ina2xx.rst), in a
// tree of our own. The values are invented.
func chip(t *testing.T) (path string, set func(file, text string)) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "1-0040")
	dir := filepath.Join(path, "hwmon", "hwmon3")
	set = func(file, text string) {
		t.Helper()
		next := filepath.Join(t.TempDir(), "next") // the kernel shows a file whole or not at all
		err := errors.Join(os.MkdirAll(dir, 0o755), os.WriteFile(next, []byte(text+"\n"), 0o644),
			os.Rename(next, filepath.Join(dir, file)))
		if err != nil {
			t.Fatal(err)
		}
	}
	set("name", "ina226")
	set("in1_input", "4812")
	set("curr1_input", "2310")
	set("shunt_resistor", "2000")
	return path, set
}

func probeOf(profile, port, more string) string {
	return fmt.Sprintf("[[probe]]\nname = \"board\"\nprofile = %q\nport = %q\n%s"+
		"[[probe.channel]]\nid = \"1\"\nquantity = \"voltage\"\nfrom = \"west.start+\"\nto = \"west.start-\"\n"+
		"[[probe.channel]]\nid = \"1\"\nquantity = \"current\"\nfrom = \"near\"\n", profile, port, more)
}

// The kernel's files are read every every_seconds, each value once a round. A value at the end of
// the scale is stored as the kernel wrote it, without a value. The device may disappear and return.
func TestKernelFiles(t *testing.T) {
	t.Parallel()
	path, set := chip(t)
	begun := time.Now()
	c := open(t, plan(t, hall+probeOf("hwmon-ina2xx", path, "every_seconds = 0.1\n")), Options{})
	c.stored(8)
	if took := time.Since(begun); took < 300*time.Millisecond { // four rounds have three pauses
		t.Errorf("four rounds took %v", took)
	}
	c.shelf.mu.Lock()
	for i, x := range c.shelf.readings {
		want := []string{"4812 mV", "2310 mA"}[i%2]
		if got := x.Text + " " + x.Unit; got != want || x.Quality != reading.Good {
			t.Errorf("reading %d: %s, %+v", i, got, x)
		}
	}
	c.shelf.mu.Unlock()

	set("in1_input", "40960") // above 7FFFh
	var bad reading.Recorded
	c.until("saturated", func() bool {
		c.shelf.mu.Lock()
		defer c.shelf.mu.Unlock()
		for _, x := range c.shelf.readings {
			if x.Quality == reading.Saturated {
				bad = x
			}
		}
		return bad.Quality == reading.Saturated
	})
	if bad.Text != "40960" || bad.Value != 0 {
		t.Errorf("kept %+v", bad)
	}
	s := c.Snapshot().Probes[0]
	if volts := s.Channels[0]; volts.Unusable == 0 || volts.Quality != "saturated" || *volts.Value != 4.812 {
		t.Errorf("%+v", volts)
	}
	away := path + ".away"
	if err := os.Rename(path, away); err != nil {
		t.Fatal(err)
	}
	c.until("gone", func() bool { return !c.Snapshot().Probes[0].Up })
	var good, all int
	c.until("all is stored", func() bool { return c.Snapshot().Waiting == 0 })
	c.shelf.mu.Lock()
	for _, x := range c.shelf.readings {
		if all++; x.Quality == reading.Good {
			good++
		}
	}
	c.shelf.mu.Unlock()
	if stored := c.Snapshot().Probes[0].Stored; int(stored) != good || good == all {
		t.Errorf("%d counted, %d good of %d", stored, good, all)
	}
	if err := os.Rename(away, path); err != nil {
		t.Fatal(err)
	}
	c.until("back", func() bool { return c.Snapshot().Probes[0].Up })
}

// A transcript beside the run file is recorded like the board that it was taken from.
func TestTranscript(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	// 3850 · 1.25 mV = 4.8125 V; 1848 · 2.5 µV / 2 mΩ = 2.31 A (INA226, SBOS547: LSBs).
	text := "# ohmkeep transcript 1\n# begun: 2026-05-04T10:12:00Z\n" +
		"0.000000 < \"ch=1 bus=3850 shunt=1848\\n\"\n0.050000 < \"ch=1 bus=385\\x00\\n\"\n0.100000 < \"ch=1 bus=3851 shunt=32767\\n\"\n"
	if err := os.WriteFile(filepath.Join(dir, "hall.txt"), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	p := plan(t, hall+probeOf("ina226-lines", "transcript:hall.txt", ""))
	p.Dir = dir
	c := open(t, p, Options{})
	c.stored(3)
	if got := fmt.Sprint(c.shelf.texts()[:3]); got != "[4.8125 2.31 4.81375]" {
		t.Errorf("heard %s", got)
	}
	s := c.Snapshot().Probes[0]
	if s.Source != "transcript" || s.Bad != 1 || s.Unusable != 1 || s.Stored != 3 {
		t.Errorf("%+v", s)
	}
}

// The state of a simulated probe says that it is simulated.
func TestSimulated(t *testing.T) {
	t.Parallel()
	c := open(t, plan(t, hall+probeOf("ina226-lines", "simulated", "")), Options{})
	c.stored(2)
	if s := c.Snapshot().Probes[0]; s.Source != "simulated" || s.Bad != 0 {
		t.Errorf("%+v", s)
	}
}

package cli

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/run"
	"ohmkeep/internal/store"
	"ohmkeep/internal/watch/watchtest"
)

var (
	driftHours = flag.Float64("drifthours", 0.2, "how much of a day the store holds whose analysis is measured")
	program    = flag.String("program", "", "the program that is measured, a path from the root; \"\" = this test's own, which has the tests in it")
	driftHertz = flag.Float64("drifthertz", 10, "how often a second its 16 channels were read")
)

// measured returns a command of the program to measure.
func measured(args ...string) *exec.Cmd {
	if *program == "" {
		return process(args...)
	}
	c := exec.Command(*program, args...)
	c.Env = append(os.Environ(), "GOGC=") // its heap is limited as in use (freeHeap)
	return c
}

// Drift, assess and a check of a day of 16 channels take at most 40 MB each, by the kernel's
// figures, at any rate. -drifthours 24 measures the whole day, -program the program as it is
// released. Without it the tests' own code, some 3.5 MB, is in the process too.
func TestMemoryOfDrift(t *testing.T) {
	s := newSession(t)
	s.write("hall.toml", shelf)
	kept, err := store.Open("hall.db")
	if err != nil {
		t.Fatal(err)
	}
	w, err := kept.Writer(s.Context(), store.Owner{Name: "a test"})
	if err != nil {
		t.Fatal(err)
	}
	var channels []store.Handle
	add := func(c store.Channel) {
		c.Run, c.Probe, c.Meter = "Book shelf", "board", "bench"
		h, err := w.Channel(c)
		if err != nil {
			t.Fatal(err)
		}
		channels = append(channels, h)
	}
	add(store.Channel{Quantity: run.Current, From: "near", Unit: "A"})
	add(store.Channel{Quantity: run.Voltage, From: "A+", To: "A-", Unit: "V"})
	for i := range 7 {
		for _, reel := range []string{"left", "right"} {
			at := fmt.Sprintf("%s.%d", reel, 1+30*i)
			add(store.Channel{Quantity: run.Voltage, From: at + "+", To: at + "-", Unit: "V"})
		}
	}
	s.keepsOn(w, channels, beginning, beginning.Add(time.Duration(*driftHours*float64(time.Hour))), time.Duration(float64(time.Second) / *driftHertz))
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if err := kept.Close(); err != nil {
		t.Fatal(err)
	}
	peak := func(args ...string) (most int64, took time.Duration) {
		program := measured(args...)
		out := &watchtest.Log{}
		program.Stdout, program.Stderr = out, out
		most, err := finish(program) // it ends with the status of what it found
		if !strings.Contains(out.String(), "near") && !strings.Contains(out.String(), "readings whole") {
			t.Fatalf("%v\n%s", err, out)
		}
		return most, processorTime(program)
	}
	bound := int64(40e6)
	if *program == "" {
		bound += 3.5e6
	}
	idle, _ := peak("predict", "hall.toml", "--step", "white 5 %")
	a := tally{tried: int(*driftHours*3600**driftHertz) * len(channels)}
	a.lost = a.tried - int(s.heldIn("hall.db"))
	for _, args := range [][]string{{"drift", "hall.toml", "--store", "hall.db"}, {"assess", "hall.toml", "--store", "hall.db"}, {"store", "check", "hall.db"}} {
		most, took := peak(args...)
		t.Logf("%g h of %d channels at %g Hz: %s takes %.1f MB at most, %.1f MB more than a prediction, and %v of processor time", *driftHours, len(channels), *driftHertz,
			args[0], float64(most)/1e6, float64(most-idle)/1e6, took.Round(time.Millisecond))
		if most > bound && !raceDetector {
			t.Errorf("%s: %.1f MB", args[0], float64(most)/1e6)
		}
	}
	a.print(t, fmt.Sprintf("readings of %g h at %g Hz, analysed within 40 MB", *driftHours, *driftHertz))
}

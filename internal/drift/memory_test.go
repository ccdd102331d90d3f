package drift

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"runtime"
	"runtime/debug"
	"testing"
	"time"

	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/run/runtest"
)

var dayHertz = flag.Float64("dayhertz", 1, "how often a second the 16 channels of the day are read whose memory is measured")

// hall is an invented run with sixteen channels: ten places and six feeds.
func hall() string {
	text := gallery
	for _, f := range []string{"alpha west.5", "beta west.end", "gamma north.5", "delta north.end", "epsilon east.5"} {
		var name, to string
		fmt.Sscan(f, &name, &to)
		text += fmt.Sprintf("[[feed]]\nname = %q\nfrom = \"A\"\nto = %q\nmetres = 3\nconductor = \"16 AWG\"\n", name, to)
	}
	return text
}

// fastDay returns a day of sixteen channels, in time order. The volts and amperes are those
// of a run that flickers; their values do not matter here.
func fastDay(r *run.Run, hertz float64, yield func(*reading.Reading) bool) (n int) {
	rng := rand.New(rand.NewPCG(1, 1))
	places := []string{"A", "west.start", "west.5", "west.end", "north.start", "north.5", "north.end", "east.start", "east.5", "east.end"}
	var x reading.Reading // one for all, as a store's loop has it
	every := time.Duration(float64(time.Second) / hertz)
	give := func(of reading.Reading) bool {
		x = of
		return yield(&x)
	}
	for at := time.Duration(0); at < 24*time.Hour; at += every {
		load, step := rng.Float64(), ""
		if at >= 3*time.Hour && at < 3*time.Hour+time.Minute {
			load, step = 0.5, "white 20 %"
		}
		for i, p := range places {
			n++
			if !give(reading.Reading{Time: spring.Add(at), Step: step, Quantity: run.Voltage, From: p + "+", To: p + "-", Unit: "V",
				Value: 5.1 - load*(0.1+0.02*float64(i)), Meter: "board"}) {
				return n
			}
		}
		for _, f := range r.Feeds {
			n++
			if !give(reading.Reading{Time: spring.Add(at), Step: step, Quantity: run.Current, From: f.Name, Unit: "A", Value: load / 2, Meter: "board"}) {
				return n
			}
		}
	}
	return n
}

// A day takes the same memory at any rate: at most 40 MB for sixteen channels, here
// at 1 Hz and with -dayhertz 10 at that rate.
func TestMemoryOfADay(t *testing.T) {
	r := runtest.Parse(t, hall())
	const usual = 100 // the heap of the program, and not that of tests
	defer debug.SetGCPercent(debug.SetGCPercent(usual))
	var before, m runtime.MemStats
	runtime.GC()
	debug.FreeOSMemory()
	runtime.ReadMemStats(&before)
	f := Follow(r, &State{Version: Version})
	day, most := spring.Unix()/86400, uint64(0)
	look := func() {
		runtime.ReadMemStats(&m)
		most = max(most, m.HeapInuse+m.StackInuse)
	}
	stop, done := make(chan bool), make(chan bool)
	go func() {
		defer close(done)
		for tick := time.Tick(5 * time.Millisecond); ; {
			select {
			case <-tick:
				look()
			case <-stop:
				return
			}
		}
	}()
	begin, n := time.Now(), 0
	n = fastDay(r, *dayHertz, func(x *reading.Reading) bool {
		f.Add(day, x)
		return true
	})
	if _, err := f.Night(day); err != nil {
		t.Fatal(err)
	}
	close(stop)
	<-done
	used := float64(most-before.HeapInuse-before.StackInuse) / 1e6
	t.Logf("%d readings of %d channels: %.1f MB at the most, %v", n, len(r.Feeds)+10, used, time.Since(begin).Round(time.Millisecond))
	if used > 40 {
		t.Errorf("%.1f MB", used)
	}
	known := 0
	for _, s := range f.State.History(r).Series {
		if len(s.Nights) > 0 && s.Verdict != history.Drifting {
			known++
		}
	}
	if known < 6 {
		t.Errorf("only %d series have a night", known)
	}
}

//go:build unix

package cli

import (
	"context"
	"flag"
	"fmt"
	"os"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"ohmkeep/internal/reading/csv"
	"ohmkeep/internal/simulate/calibrationtest"
	"ohmkeep/internal/store"
)

var interrupts = flag.Int("interrupts", 1, "how often each command is interrupted; with 4, on a quiet machine, the half second is judged, more commands are interrupted, and there are four times as many readings")

// A command that looks at nothing is given up soon after an interrupt; one that ends
// in its own way is waited for.
func TestUntilStopped(t *testing.T) { synctest.Test(t, testUntilStopped) }

func testUntilStopped(t *testing.T) {
	root := newRoot(strings.NewReader(""), os.Stdout, os.Stderr)
	fit, _, _ := root.Find([]string{"assess"})
	watch, _, _ := root.Find([]string{"watch"})
	ctx, interrupt := context.WithCancel(context.Background())
	release := make(chan struct{})
	defer close(release)
	deaf := func() error { <-release; return nil }
	const after = 20 * time.Millisecond
	time.AfterFunc(after, interrupt)
	begun := time.Now()
	if err := untilStopped(ctx, fit, deaf); err != context.Canceled || time.Since(begun) != after+stopTimeout {
		t.Errorf("%v after %v", err, time.Since(begun))
	}
	own := status(Fails)
	slow := func() error { time.Sleep(stopTimeout + 50*time.Millisecond); return own }
	if err := untilStopped(ctx, watch, slow); err != own {
		t.Errorf("the watch: %v", err)
	}
	if err := untilStopped(ctx, fit, func() error { return own }); err != own {
		t.Errorf("one that ends at once: %v", err)
	}
}

// hall is an invented run of so many reels in a row, each fed at its start.
func hall(reels int) string {
	var b strings.Builder
	head, tail, _ := strings.Cut(shelf, "[[reel]]")
	_, tail, _ = strings.Cut(tail, "[[step]]")
	b.WriteString(strings.Replace(head, "Book shelf", "Hall", 1))
	for i := range reels {
		fmt.Fprintf(&b, "[[reel]]\nname = \"r%d\"\nmetres = 5.0\n[[feed]]\nname = \"f%d\"\nfrom = \"A\"\nto = \"r%d.start\"\nmetres = 4\nconductor = \"16 AWG\"\n", i, i, i)
	}
	return b.String() + "[[step]]" + tail
}

// interrupted starts a command, sends it a signal after a while, and returns how long it
// took to end then, and what it said; ended is whether it had ended before.
func (s session) interrupted(args string, after time.Duration, signal os.Signal) (took time.Duration, said string, ended bool) {
	s.Helper()
	program := process(split(args)...)
	var out strings.Builder
	program.Stderr = &out
	if err := program.Start(); err != nil {
		s.Fatal(err)
	}
	gone := make(chan struct{})
	go func() { _ = program.Wait(); close(gone) }() // its status is that of an interrupt or its own
	select {
	case <-gone:
		return 0, out.String(), true
	case <-time.After(after):
	}
	begun := time.Now()
	if err := program.Process.Signal(signal); err != nil {
		return 0, out.String(), true
	}
	select {
	case <-gone:
	case <-time.After(20 * time.Second):
		_ = program.Process.Kill() // it is deaf
		<-gone
	}
	return time.Since(begun), out.String(), false
}

// Every command with much to do ends within half a second of an interrupt, at any
// moment, and leaves nothing half-written: no file that was not there before, and a store
// that holds all or nothing of what was being stored.
func TestEveryCommandStops(t *testing.T) {
	s := newSession(t)
	s.write("hall.toml", hall(60))
	r, err := loadRun("hall.toml")
	if err != nil {
		t.Fatal(err)
	}
	s.write("hall.csv", s.simulated(r.Run, func(*calibrationtest.Plant) {}, everything))
	base := s.wide()
	most := 5 * time.Second // ten times what is promised, because other tests run beside this one
	if *interrupts > 1 {
		most = 500 * time.Millisecond
	}
	wanted := 50_000 * *interrupts
	stored := int64(wanted/len(base)+1) * int64(len(base)) // as wandering gives them
	s.stored(wandering(base, wanted, 3))
	var text strings.Builder
	if err := csv.WriteSeq(&text, wandering(base, wanted, 2)); err != nil {
		t.Fatal(err)
	}
	s.write("many.csv", text.String())
	before := []string{"fine.toml", "hall.csv", "hall.toml", "many.csv", "readings.csv", "shelf.db", "shelf.toml"}
	s.holds(before...)
	inTime := 0 // commands that were interrupted before they had ended
	calls := []string{
		"plan hall.toml",
		"assess hall.toml hall.csv --report page.html",
		"import shelf.toml many.csv --store other.db",
		"export shelf.toml --store shelf.db --format openmetrics",
		"drift shelf.toml --store shelf.db",
		"store check shelf.db",
		"store backup shelf.db copy.db",
		"store compact shelf.db",
		"demo --into demo",
	}
	fewest := 3 // that take long enough to be interrupted
	if *interrupts > 1 {
		fewest = 6
		calls = append(calls, "repair hall.toml hall.csv", "limit hall.toml hall.csv", "colour hall.toml hall.csv")
	}
	for _, args := range calls {
		var slowest time.Duration
		caught := 0
		late := 0
		for i := 0; i < *interrupts; i++ {
			after := 80 * time.Millisecond << (i % 4)
			took, said, ended := s.interrupted(args, after, []os.Signal{os.Interrupt, syscall.SIGTERM}[i%2])
			if ended {
				continue
			}
			caught++
			if slowest = max(slowest, took); took > most {
				if late++; late > 2 { // on a busy machine a process may wait as long for a processor
					t.Errorf("ohmkeep %s, %v after its start: took %v to end", args, after, took)
				} else {
					i--
				}
			}
			if lines := strings.Split(strings.TrimSpace(said), "\n"); strings.Contains(said, "panic") || strings.Contains(lines[len(lines)-1], "interrupt") {
				t.Errorf("ohmkeep %s says %s", args, said)
			}
			for _, made := range []string{"page.html", "copy.db", "other.db", "other.db-wal", "other.db-shm"} {
				if made == "other.db" && s.is(made) {
					if n := s.heldIn(made); n != 0 && n != stored {
						t.Errorf("ohmkeep %s leaves %d readings", args, n)
					}
				}
				_ = os.Remove(made) // written whole before the interrupt, or not there
			}
			_ = os.RemoveAll("demo")
			_, _ = os.Remove("shelf.db-wal"), os.Remove("shelf.db-shm")
			s.holds(before...)
		}
		inTime += min(caught, 1)
		t.Logf("%-55s %d times, %v at most", args, caught, slowest.Round(time.Millisecond))
	}
	if inTime < fewest {
		t.Errorf("only %d commands took long enough to be interrupted", inTime)
	}
	if n := s.heldIn("shelf.db"); n != stored {
		t.Errorf("%d readings are left in the store", n)
	}
}

func (s session) is(name string) bool {
	_, err := os.Stat(s.path(name))
	return err == nil
}

// heldIn returns how many readings a store holds.
func (s session) heldIn(name string) int64 {
	s.Helper()
	db, err := store.OpenReadOnly(s.path(name))
	if err != nil && strings.Contains(err.Error(), "the store is empty") {
		return 0 // its import was interrupted before it made a table
	}
	if err != nil {
		s.Fatal(err)
	}
	defer db.Close()
	found, err := db.Check(context.Background())
	if err != nil || len(found.Faults) > 0 {
		s.Fatalf("%v, %v", found.Faults, err)
	}
	return found.Readings
}

//go:build unix

package store

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"ohmkeep/internal/run"
)

var kills = flag.Int("kills", 5, "how often a writer is killed")

const (
	nextVariable  = "STORE_TEST_NEXT"
	batchVariable = "STORE_TEST_BATCH"
)

// numbered returns the sample with a number: 16 channels by turns, two of which share their
// moments. The number is the count of the sample, so that a lost or doubled one is seen.
func numbered(handles []Handle, i int) Sample {
	at := start.UTC().Add(time.Duration(i/2) * 125 * time.Millisecond)
	return Sample{Channel: handles[i%16], Time: at, Mono: time.Duration(i/2+1) * 125 * time.Millisecond, Count: int64(i)}
}

func numberedHandles(w *Writer) ([]Handle, error) {
	handles := make([]Handle, 16)
	for i := range handles {
		var err error
		if handles[i], err = w.Channel(Channel{Run: cornice.Name, Probe: "board", Quantity: run.Voltage, Unit: "mV",
			From: fmt.Sprintf("west.%d+", i+1), To: fmt.Sprintf("west.%d-", i+1), Meter: "hand"}); err != nil {
			return nil, err
		}
	}
	return handles, nil
}

// writeForever commits batch after batch of numbered samples, and prints their number after each.
// It folds the tail often, which is the most complex part.
func writeForever(path string) error {
	next, err := strconv.Atoi(os.Getenv(nextVariable))
	if err != nil {
		return err
	}
	batch, err := strconv.Atoi(os.Getenv(batchVariable))
	if err != nil {
		return err
	}
	s, err := Open(path)
	if err != nil {
		return err
	}
	w, err := s.Writer(context.Background(), Owner{Name: "a test", Boot: "boot of the test", FoldAfter: 5})
	if err != nil {
		return err
	}
	handles, err := numberedHandles(w)
	if err != nil {
		return err
	}
	fmt.Println("ready")
	for {
		var samples []Sample
		for range batch {
			samples = append(samples, numbered(handles, next))
			next++
		}
		if err := w.Append(context.Background(), samples); err != nil {
			return err
		}
		fmt.Println(next)
	}
}

// held returns how many numbered samples a store holds; they must be 0, 1, 2 … and
// each must be there once.
func held(t *testing.T, path string) int {
	t.Helper()
	var a tally
	n := a.held(t, path)
	if a != (tally{}) {
		t.Fatalf("%+v", a)
	}
	return n
}

// held counts what is wrong with the numbered samples of a store, and returns how many it
// holds.
func (a *tally) held(t *testing.T, path string) int {
	t.Helper()
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	var counts []bool
	for x, err := range s.Samples(context.Background(), Selection{Run: cornice.Name}) {
		if err != nil {
			t.Fatal(err)
		}
		i := int(x.Count)
		for len(counts) <= i {
			counts = append(counts, false)
		}
		if counts[i] {
			a.doubled++
			t.Errorf("sample %d is there twice", i)
		}
		counts[i] = true
		want := numbered(make([]Handle, 16), i)
		if !x.Time.Equal(want.Time) || x.SinceBoot != want.Mono || x.From != fmt.Sprintf("west.%d+", i%16+1) || x.Boot != 1 {
			a.misplaced++
			t.Errorf("sample %d: %+v", i, x)
		}
	}
	for i, there := range counts {
		if !there {
			a.lost++
			t.Errorf("sample %d of %d is lost", i, len(counts))
		}
	}
	return len(counts)
}

// A writer that is killed at any moment, repeatedly, leaves a store that opens and holds all that
// was confirmed, once.
func TestKilledWriterLosesNothing(t *testing.T) {
	path := filepath.Join(t.TempDir(), "killed.store")
	random := rand.New(rand.NewPCG(31, 32))
	const batch = 16
	next, commits := 0, 0
	var a tally
	for round := range *kills {
		t.Setenv(nextVariable, strconv.Itoa(next))
		t.Setenv(batchVariable, strconv.Itoa(batch))
		cmd := again(t, "write", path)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		kill := func(within time.Duration) {
			time.AfterFunc(time.Duration(random.Int64N(int64(within))), func() { cmd.Process.Kill() })
		}
		after := random.IntN(12) // confirmations
		if round%10 == 9 {       // while it is still opening the store
			after = -1
			kill(30 * time.Millisecond)
		}
		confirmed := next
		for lines := bufio.NewScanner(out); lines.Scan(); {
			if lines.Text() != "ready" {
				if confirmed, err = strconv.Atoi(lines.Text()); err != nil {
					t.Errorf("round %d: the writer says %q", round, lines.Text())
				}
			}
			if after--; after == -1 {
				kill(3 * time.Millisecond)
			}
		}
		cmd.Wait()
		a.tried++
		n := a.held(t, path)
		a.lost += max(0, confirmed-n)
		if n != confirmed && n != confirmed+batch {
			t.Fatalf("round %d: %d samples, %d confirmed", round, n, confirmed)
		}
		commits += (n - next) / batch
		next = n
	}
	a.print(t, "a writer killed")
	if commits < *kills {
		t.Errorf("only %d commits in %d rounds", commits, *kills)
	}
}

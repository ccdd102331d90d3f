package recorder

import (
	"flag"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"ohmkeep/internal/simulate/devices"
)

var rateSeconds = flag.Float64("rate", 0.4, "for how many seconds the boards speak at full rate")

// fullRate is what a port of 1 Mbaud carries: 100,000 bytes a second, lines of
// about 40 bytes.
const fullRate = 2500

// boards opens a recorder on four boards.
func boards(t testing.TB) (*cabinet, []*devices.Pair) {
	text := hall
	var pairs []*devices.Pair
	for i := range 4 {
		s := newSocket(t)
		pairs = append(pairs, s.plug())
		text += probeOn(fmt.Sprint("board ", i), s.path)
	}
	return open(t, plan(t, text), Options{Commit: time.Second}), pairs
}

// tell makes each board send n lines at full rate, or as fast as they are read: what finds no room
// in a terminal's buffer for a second is lost, as on a machine that is busy with other work.
func tell(t testing.TB, c *cabinet, pairs []*devices.Pair, n int) {
	var all sync.WaitGroup
	var sent atomic.Int64
	for _, pair := range pairs {
		all.Add(1)
		go func() {
			defer all.Done()
			const burst = fullRate / 100 // what a USB adapter hands over at once in 10 ms
			begun := time.Now()
			for i := 0; i < n; i += burst {
				var lines strings.Builder
				for k := i; k < min(i+burst, n); k++ {
					fmt.Fprintf(&lines, "1,%d.000000000000000000000000000,V\n", k)
				}
				c.until("read", func() bool {
					s := c.Snapshot()
					heard := s.Waiting
					for _, p := range s.Probes {
						heard += int(p.Stored)
					}
					return int(sent.Load())-heard <= 3*burst
				})
				say(t, pair, lines.String())
				sent.Add(int64(min(burst, n-i)))
				time.Sleep(time.Until(begun.Add(time.Duration(i+burst) * time.Second / fullRate)))
			}
		}()
	}
	all.Wait()
}

// Four boards at the full rate of a 1 Mbaud port each: every line is stored, in
// the order of its board.
func TestLineRate(t *testing.T) {
	c, pairs := boards(t)
	n := int(*rateSeconds * fullRate)
	before := processor(t)
	tell(t, c, pairs, n)
	c.stored(4 * n)
	used := processor(t) - before
	if most := max(time.Second, time.Duration(*rateSeconds*float64(time.Second))); used > most && !testing.Short() { // under the race detector
		t.Errorf("%v of processor time for lines that take %v to send", used, most)
	}
	t.Logf("%v of processor time for %d lines, the boards' own share included", used, 4*n)
	next := map[string]int{}
	for _, x := range c.shelf.readings {
		if want := fmt.Sprintf("%d.000000000000000000000000000", next[x.Probe]); x.Text != want {
			t.Fatalf("%s: %s in place of %s", x.Probe, x.Text, want)
		}
		next[x.Probe]++
	}
	if s := c.Snapshot(); s.Dropped > 0 || s.Probes[0].Bad > 0 {
		t.Errorf("%+v", s)
	}
}

// BenchmarkLine measures the processor time of a line at full rate, the boards' own share included.
func BenchmarkLine(b *testing.B) {
	c, pairs := boards(b)
	before := processor(b)
	b.ResetTimer()
	tell(b, c, pairs, (b.N+3)/4)
	c.until("all heard", func() bool { return c.Snapshot().Waiting == 0 && len(c.shelf.texts()) >= b.N })
	b.ReportMetric(float64((processor(b)-before).Nanoseconds())/float64(b.N), "cpu-ns/line")
}

func processor(t testing.TB) time.Duration {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		t.Fatal(err)
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}

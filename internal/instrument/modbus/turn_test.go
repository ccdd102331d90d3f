package modbus

import (
	"errors"
	"io"
	"net"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// Two slaves of five answer. They are read in time: a request to an absent slave delays them by one time-out at most,
// and there is never more than one such request between two readings of one. The absent ones are asked at growing
// intervals, and one that returns is read within the longest pause. The times are of a simulated clock.
func TestAbsentSlaves(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const timeout, every, present, second, returning = time.Second, time.Second, 1, 5, 3
		host, device := net.Pipe()
		var back atomic.Bool
		asked := map[byte][]time.Time{}
		between, worst := 0, 0
		played := make(chan struct{})
		go func() {
			defer close(played)
			for {
				f := make([]byte, requestLength)
				if _, err := io.ReadFull(device, f); err != nil {
					return
				}
				asked[f[0]] = append(asked[f[0]], time.Now())
				if f[0] == present {
					between = 0
				} else if f[0] != second && len(asked[present]) > 0 && !back.Load() {
					between++
					worst = max(worst, between)
				}
				if f[0] == present || f[0] == second || f[0] == returning && back.Load() {
					time.Sleep(20 * time.Millisecond)
					_, _ = device.Write(withCRC([]byte{f[0], f[1], 2, 0, f[0]}))
				}
			}
		}()
		b := NewBus(host, 9600)
		var answered [6]atomic.Int32
		var all sync.WaitGroup
		for slave := byte(second); slave >= 1; slave-- { // the absent ones first
			all.Go(func() {
				for {
					a := b.Read(t.Context(), Request{slave, 3, 0, 1}, timeout)
					if errors.Is(a.Err, ErrNoAnswer) && !a.Absent {
						t.Errorf("slave %d: %v, and it is not said to be absent", slave, a.Err)
					}
					if a.Err == nil {
						answered[slave].Add(1)
						time.Sleep(every)
						continue
					}
					select {
					case <-b.ended:
						return
					case <-time.After(50 * time.Millisecond): // the watch tries again at once
					}
				}
			})
		}
		time.Sleep(3 * time.Minute)
		back.Store(true)
		returned := time.Now()
		for answered[returning].Load() == 0 && time.Since(returned) < time.Minute {
			time.Sleep(100 * time.Millisecond)
		}
		if took := time.Since(returned); took > longestPause+2*timeout {
			t.Errorf("the slave that returned was read after %v", took)
		}
		b.Close()
		_ = device.Close()
		<-played
		all.Wait()

		if worst != 1 {
			t.Errorf("up to %d requests to absent slaves between two readings, want 1", worst)
		}
		for i, at := range asked[present][1:] {
			if gap := at.Sub(asked[present][i]); gap > every+timeout+200*time.Millisecond {
				t.Errorf("reading %d came %v after the one before", i+1, gap)
			}
		}
		if n := len(asked[present]); n < 150 {
			t.Errorf("%d readings in three minutes", n)
		}
		answering := asked[present][0]
		if other := asked[second][0]; other.Before(answering) {
			answering = other
		}
		for _, slave := range []byte{2, 4} {
			all := len(asked[slave])
			late := len(slices.DeleteFunc(asked[slave], func(at time.Time) bool { return at.Before(answering) })) // before it each is asked again at once
			if all < 7 || late > 12 {                                                                             // after 1, 2, 4, 8, 16 and then 30 s
				t.Errorf("slave %d was asked %d times, %d of them while others answered", slave, all, late)
			}
		}
	})
}

// Where no slave answers there is none to be delayed, and each is asked again at once: when the power of a line
// returns, its slaves are read in seconds.
func TestNoSlaveAnswers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		host, device := net.Pipe()
		go func() { _, _ = io.Copy(io.Discard, device) }()
		b := NewBus(host, 9600)
		for range 10 {
			begun := time.Now()
			b.Read(t.Context(), Request{1, 3, 0, 1}, time.Second)
			if took := time.Since(begun); took > 1100*time.Millisecond {
				t.Fatalf("took %v", took)
			}
		}
		b.Close()
		_ = device.Close()
	})
}

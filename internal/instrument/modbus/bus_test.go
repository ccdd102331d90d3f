package modbus

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"ohmkeep/internal/instrument/profile"
)

// fake is the slaves' end of a line; each request is answered by the next of its replies.
type fake struct {
	conn    net.Conn
	mu      sync.Mutex
	replies [][]byte // nil = silence
	asked   [][]byte
}

func line9600(t *testing.T, replies ...[]byte) (*Bus, *fake) {
	t.Helper()
	host, device := net.Pipe()
	f := &fake{conn: device, replies: replies}
	go func() {
		for {
			request := make([]byte, requestLength)
			if _, err := io.ReadFull(device, request); err != nil {
				return
			}
			f.mu.Lock()
			f.asked = append(f.asked, request)
			var reply []byte
			if len(f.replies) > 0 {
				reply, f.replies = f.replies[0], f.replies[1:]
			}
			f.mu.Unlock()
			for len(reply) > 0 { // in pieces, as a line gives them
				n := min(3, len(reply))
				_, _ = device.Write(reply[:n])
				reply = reply[n:]
			}
		}
	}()
	b := NewBus(host, 9600)
	t.Cleanup(func() { b.Close(); _ = device.Close() })
	return b, f
}

func TestExchanges(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := Request{Slave: 1, Function: 4, Count: 2}
		good := withCRC([]byte{1, 4, 4, 1, 0xE7, 0, 0xE7})
		wrong := slices.Clone(good)
		wrong[5] ^= 1
		b, _ := line9600(t, good, append(r.frame(), good...), wrong, r.frame(), good[:4], nil, withCRC([]byte{1, 0x84, 6}), good)
		for i, want := range []error{nil, nil, ErrBadFrame, ErrNoAnswer, ErrBadFrame, ErrNoAnswer, Busy, nil} {
			begun := time.Now()
			a := b.Read(t.Context(), r, 150*time.Millisecond)
			if !errors.Is(a.Err, want) || want == nil && !slices.Equal(a.Words, []uint16{487, 231}) || !bytes.Equal(a.Sent, r.frame()) {
				t.Errorf("exchange %d: %v %v, want %v", i, a.Words, a.Err, want)
			}
			if took := time.Since(begun); took > 200*time.Millisecond { // of a simulated clock
				t.Errorf("exchange %d took %v", i, took)
			}
		}
	})
}

// Requests of several goroutines have their turns and never mix.
func TestTurns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		host, device := net.Pipe()
		defer device.Close()
		go func() { // each slave answers with its own address
			for {
				f := make([]byte, requestLength)
				if _, err := io.ReadFull(device, f); err != nil {
					return
				}
				_, _ = device.Write(withCRC([]byte{f[0], f[1], 2, 0, f[0]}))
			}
		}()
		b := NewBus(host, 115200)
		defer b.Close()
		var all sync.WaitGroup
		for slave := byte(1); slave <= 4; slave++ {
			all.Go(func() {
				for range 25 {
					if a := b.Read(t.Context(), Request{slave, 3, 0, 1}, time.Second); a.Err != nil || a.Words[0] != uint16(slave) {
						t.Errorf("slave %d: %v %v", slave, a.Words, a.Err)
					}
				}
			})
		}
		all.Wait()
	})
}

// The end of a line ends every request, and Close does not wait for an answer.
func TestLineEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, f := line9600(t)
		go func() { time.Sleep(20 * time.Millisecond); _ = f.conn.Close() }()
		if a := b.Read(t.Context(), Request{1, 4, 0, 1}, 10*time.Second); !errors.Is(a.Err, io.EOF) {
			t.Errorf("during a request: %v", a.Err)
		}
		<-b.ended
		if a := b.Read(t.Context(), Request{1, 4, 0, 1}, time.Second); !errors.Is(a.Err, io.EOF) {
			t.Errorf("afterwards: %v", a.Err)
		}
		b, _ = line9600(t)
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
		defer cancel()
		if a := b.Read(ctx, Request{1, 4, 0, 1}, 10*time.Second); !errors.Is(a.Err, context.DeadlineExceeded) {
			t.Errorf("cancelled: %v", a.Err)
		}
		b, _ = line9600(t)
		go func() { time.Sleep(20 * time.Millisecond); b.Close() }()
		if a := b.Read(t.Context(), Request{1, 4, 0, 1}, 10*time.Second); a.Err == nil {
			t.Error("closed: no error")
		}
	})
}

// A line that is never silent is said to be so, and ends no earlier than its time.
func TestBabble(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		host, device := net.Pipe()
		go func() { _, _ = io.Copy(io.Discard, device) }()
		var babbling sync.WaitGroup
		babbling.Go(func() {
			for {
				if _, err := device.Write([]byte{0x55}); err != nil {
					return
				}
				time.Sleep(time.Millisecond)
			}
		})
		b := NewBus(host, 9600)
		defer func() { b.Close(); device.Close(); babbling.Wait() }()
		if a := b.Read(t.Context(), Request{1, 4, 0, 1}, 50*time.Millisecond); !errors.Is(a.Err, ErrBadFrame) {
			t.Errorf("%v", a.Err)
		}
	})
}

// Slaves share a line by its path while they use it, and no longer.
func TestBuses(t *testing.T) {
	var s Buses
	opened := 0
	var ends []net.Conn
	join := func(path string, settings profile.Port) (*Bus, func(), error) {
		return s.Join(path, settings, func() (io.ReadWriteCloser, error) {
			opened++
			host, device := net.Pipe()
			ends = append(ends, device)
			return host, nil
		})
	}
	slow := profile.Port{Baud: 9600, DataBits: 8, StopBits: 2}
	a, leaveA, _ := join("x", slow)
	b, leaveB, _ := join("x", slow)
	if a != b || opened != 1 {
		t.Fatalf("opened %d times", opened)
	}
	fast := slow
	fast.Baud = 19200
	if _, _, err := join("x", fast); err == nil || err.Error() != "port x: another probe uses it at 9600 baud 8N2, this one needs 19200 baud 8N2" {
		t.Errorf("%v", err)
	}
	leaveA()
	leaveA()
	select {
	case <-b.ended:
		t.Fatal("the line is closed while a slave uses it")
	default:
	}
	_ = ends[0].Close() // unplugged
	<-b.ended
	c, leaveC, err := join("x", slow)
	if err != nil || c == b || opened != 2 {
		t.Fatalf("%v, opened %d times", err, opened)
	}
	leaveB()
	select {
	case <-c.ended:
		t.Fatal("the new line is closed by a user of the old one")
	default:
	}
	leaveC()
	<-c.ended
	if len(s.open) != 0 {
		t.Errorf("%d lines are left", len(s.open))
	}
}

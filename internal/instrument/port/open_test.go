package port

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"go.bug.st/serial"

	"ohmkeep/internal/instrument/profile"
)

// wired is a serial port with modem lines that records the calls to it.
type wired struct {
	serial.Port // nil: what setUp does not use panics
	done        []string
	refuse      error
	status      error
}

func (w *wired) note(s string) error { w.done = append(w.done, s); return w.refuse }

func (w *wired) SetDTR(on bool) error    { return w.note(fmt.Sprint("DTR ", on)) }
func (w *wired) SetRTS(on bool) error    { return w.note(fmt.Sprint("RTS ", on)) }
func (w *wired) ResetInputBuffer() error { return w.note("drop") }
func (w *wired) GetModemStatusBits() (*serial.ModemStatusBits, error) {
	return &serial.ModemStatusBits{}, w.status
}

func TestSetUp(t *testing.T) {
	on, off := true, false
	settle := 20 * time.Millisecond
	for _, c := range []struct {
		name    string
		port    profile.Port
		device  wired
		want    string
		settles bool
		fails   bool
	}{
		{name: "as the system leaves it", want: "[]"},
		{name: "set", port: profile.Port{DTR: &off, RTS: &on}, want: "[DTR false RTS true]"},
		{name: "settles", port: profile.Port{Settle: settle}, want: "[drop]", settles: true},
		{name: "no wire", port: profile.Port{Settle: settle}, device: wired{status: syscall.ENOTTY}, want: "[]"},
		{name: "no wire to set", port: profile.Port{DTR: &on, Settle: settle}, device: wired{refuse: syscall.ENOTTY}, want: "[DTR true]"},
		{name: "refused", port: profile.Port{DTR: &on}, device: wired{refuse: syscall.EIO}, want: "[DTR true]", fails: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				begun := time.Now()
				err := setUp(t.Context(), &c.device, c.port)
				if got := fmt.Sprint(c.device.done); got != c.want || (err != nil) != c.fails {
					t.Errorf("got %s, %v, want %s", got, err, c.want)
				}
				if took := time.Since(begun); c.settles != (took >= settle) {
					t.Errorf("took %v", took)
				}
			})
		})
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := setUp(ctx, &wired{}, profile.Port{Settle: time.Minute}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled while settling: %v", err)
	}
}

func TestExplain(t *testing.T) {
	if err := explain(fs.ErrNotExist); !errors.Is(err, fs.ErrNotExist) || !strings.Contains(err.Error(), "plugged in") {
		t.Errorf("got %v", err)
	}
	if err := explain(syscall.EIO); err != syscall.EIO {
		t.Errorf("got %v", err)
	}
}

// hanging is a port whose writes block until its output buffer is discarded.
type hanging struct {
	net.Conn
	freed chan struct{}
}

func (h *hanging) Read([]byte) (int, error)  { time.Sleep(time.Millisecond); return 0, nil }
func (h *hanging) Write([]byte) (int, error) { <-h.freed; return 0, syscall.EIO }
func (h *hanging) ResetOutputBuffer() error  { close(h.freed); return nil }

// Close ends a blocked write before it closes the port, so that no write reaches a descriptor that
// was reused.
func TestCloseFreesWriter(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, _ := net.Pipe()
		h := &hanging{conn, make(chan struct{})}
		p := Over(h, Lines("\n"), time.Now)
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Millisecond)
		defer cancel()
		if err := p.Write(ctx, []byte("*IDN?\n")); !errors.Is(err, ErrStuck) {
			t.Fatalf("got %v", err)
		}
		if err := p.Close(); err != nil {
			t.Fatal(err)
		}
		select {
		case <-p.writerEnded:
		default:
			t.Error("the port was closed under a writer")
		}
	})
}

// If a device restarts in the middle of a line, the first part is not joined to the line after the
// restart.
func TestRestartWithinALine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		device, host := net.Pipe()
		p := newPort(host, Lines("\n"), time.Now)
		p.gap = 20 * time.Millisecond
		p.start()
		defer p.Close()
		go func() {
			_, _ = device.Write([]byte("1"))
			time.Sleep(2 * p.gap)
			_, _ = device.Write([]byte("1,4.9,V\n"))
		}()
		for _, want := range []Line{{Text: "1", Fault: Stalled}, {Text: "1,4.9,V"}} {
			l, err := p.Line(t.Context())
			l.Time = time.Time{}
			if err != nil || l != want {
				t.Errorf("got %+v, %v, want %+v", l, err, want)
			}
		}
	})
}

// The time that a slow reader takes does not count as silence on the wire: a line whose rest waits
// meanwhile is whole.
func TestSlowReaderIsNoSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		device, host := net.Pipe()
		p := newPort(host, Lines("\n"), time.Now)
		p.gap = 20 * time.Millisecond
		p.start()
		defer p.Close()
		go func() {
			_, _ = device.Write([]byte(strings.Repeat("x\n", maxWaitingLines+10) + "1,4."))
			_, _ = device.Write([]byte("8,V\n"))
		}()
		time.Sleep(3 * p.gap)
		for range maxWaitingLines + 10 {
			if l, err := p.Line(t.Context()); err != nil || l.Text != "x" || l.Fault != "" {
				t.Fatalf("got %+v, %v", l, err)
			}
		}
		if l, err := p.Line(t.Context()); err != nil || l.Text != "1,4.8,V" || l.Fault != "" {
			t.Errorf("got %+v, %v", l, err)
		}
	})
}

// Package devices holds simulated instruments: a multimeter that speaks SCPI and
// a sensor board that prints lines. They speak over a pseudo-terminal, which is
// opened like any serial port, or inside the process where the system has none.
//
// The values come from the caller; the instruments add what instruments do:
// rounding to a count, overload, saturation, an error queue. Nothing here is
// measured, and the identities state that. A Wire can simulate faults of the line.
package devices

import (
	"io"
	"net"
	"os"
	"sync"
	"time"
)

// Pair is the two ends of a simulated serial cable.
type Pair struct {
	Device io.ReadWriteCloser // the instrument's end; closing it unplugs the cable
	Path   string             // of the pseudo-terminal to open; "" without one
	Host   io.ReadWriteCloser // the program's end where there is no path; otherwise nil
}

// NewPair makes a pseudo-terminal where the system has them, otherwise a
// connection inside the process.
func NewPair() *Pair {
	if p, err := NewTerminal(); err == nil {
		return p
	}
	return InProcess()
}

// InProcess makes a connection inside the process.
func InProcess() *Pair {
	device, host := net.Pipe()
	return &Pair{Device: &deadlineConn{Conn: device}, Host: host}
}

// Kind returns what the cable is, for a notice to the user.
func (p *Pair) Kind() string {
	if p.Path == "" {
		return "in-process"
	}
	return "pseudo-terminal"
}

// writeTimeout is how long an instrument waits for a program to read its output. After that the bytes
// are lost, as on a wire that is not read.
const writeTimeout = time.Second

// deadlineConn is a connection whose writes end after writeTimeout.
type deadlineConn struct{ net.Conn }

func (p *deadlineConn) Write(data []byte) (int, error) {
	_ = p.SetWriteDeadline(time.Now().Add(writeTimeout)) // a closed end shows in the write
	n, err := p.Conn.Write(data)
	return ignoreTimeout(n, err, len(data))
}

// ignoreTimeout returns a write that timed out as complete; its bytes are lost.
func ignoreTimeout(n int, err error, all int) (int, error) {
	if os.IsTimeout(err) {
		return all, nil
	}
	return n, err
}

// Wire carries an instrument's output, and simulates faults of a line on request.
type Wire struct {
	device io.ReadWriteCloser

	mu     sync.Mutex
	slow   time.Duration // between two bytes
	silent bool
}

// Send sends bytes unchanged; they need not be whole lines.
func (w *Wire) Send(bytes string) error {
	w.mu.Lock()
	silent, slow := w.silent, w.slow
	w.mu.Unlock()
	if silent {
		return nil
	}
	if slow == 0 {
		_, err := io.WriteString(w.device, bytes)
		return err
	}
	for i := range len(bytes) {
		if _, err := w.device.Write([]byte{bytes[i]}); err != nil {
			return err
		}
		time.Sleep(slow)
	}
	return nil
}

// Silence discards all output from now on, or ends that.
func (w *Wire) Silence(on bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.silent = on
}

// Slow waits between any two bytes from now on.
func (w *Wire) Slow(pause time.Duration) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.slow = pause
}

// Unplug closes the cable.
func (w *Wire) Unplug() error { return w.device.Close() }

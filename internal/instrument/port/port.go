// Package port opens a serial port with the settings of a profile and reads lines from it.
//
// One goroutine owns the opened port: only it reads and closes. A second one writes, because a
// write to a serial port has no time-out and may hang for ever. A port that is unplugged ends with
// ErrGone and is not opened again by this package. Lines are split at their end bytes and not
// parsed.
//
// The same code reads any io.ReadWriteCloser (Over), such as a device inside the process.
package port

import (
	"context"
	"errors"
	"io"
	"os"
	"sync"
	"time"
)

// ErrGone is wrapped by the error of a port that was unplugged or hung up.
var ErrGone = errors.New("the port is gone")

// ErrInUse is wrapped by the error of opening a port that is open already.
var ErrInUse = errors.New("the port is in use")

// ErrStuck is wrapped by the error of a write that the device does not accept.
var ErrStuck = errors.New("the port accepts no data")

// Fault is the reason why a line cannot be used.
type Fault string

const (
	StartMissing Fault = "its beginning was missed" // it was being sent when the port was opened
	TooLong      Fault = "longer than 512 bytes"
	Stalled      Fault = "it stopped half-way"
)

// Line is a line without its end bytes.
type Line struct {
	Text  string
	Time  time.Time // when its last byte was read
	Fault Fault     // "" = whole
}

const (
	// tick bounds the time of a single read, and so the time that Close takes.
	tick = 100 * time.Millisecond
	// startSilence is how long a port must be silent after opening so that the next byte counts as the
	// start of a line: a byte takes 1 ms at 9600 baud, and USB adapters collect bytes for up to 16
	// ms.
	startSilence = 30 * time.Millisecond
	// maxWaitingLines is the number of lines that wait for a slow reader before the port's own buffer holds
	// the rest.
	maxWaitingLines = 256
)

// agedLine is a line and the number of calls of Forget before it was read.
type agedLine struct {
	Line
	age int
}

// Port is an opened port. Line and Write may be used from different goroutines.
type Port struct {
	conn  io.ReadWriteCloser
	clock func() time.Time
	gap   time.Duration
	lines chan agedLine
	out   []Line // the owner's, kept to be filled again

	mu      sync.Mutex // of framing and age
	framing Framing
	age     int // how often Forget was called

	writes      chan *write
	stop        chan struct{} // closed by Close
	stopOnce    sync.Once
	writerEnded chan struct{} // closed when the writer has ended
	ended       chan struct{} // closed when the owner has closed the port
	err         error         // why it ended; to be read after ended or lines is closed
}

// Over returns a port on an opened connection. Times are read from clock.
func Over(conn io.ReadWriteCloser, framing Framing, clock func() time.Time) *Port {
	p := newPort(conn, framing, clock)
	p.start()
	return p
}

func newPort(conn io.ReadWriteCloser, framing Framing, clock func() time.Time) *Port {
	return &Port{
		conn: conn, clock: clock, gap: framing.gap(), framing: framing,
		lines: make(chan agedLine, maxWaitingLines), writes: make(chan *write),
		stop: make(chan struct{}), writerEnded: make(chan struct{}), ended: make(chan struct{}),
	}
}

func (p *Port) start() {
	go p.run()
	go p.writeAll()
}

// Line waits for the next line. After the port has ended it returns the lines read before, then the
// reason: ErrGone, or os.ErrClosed after Close.
func (p *Port) Line(ctx context.Context) (Line, error) {
	for {
		l, err := p.next(ctx)
		if err != nil || l.age == p.now() {
			return l.Line, err
		}
	}
}

// next returns the next line of any age.
func (p *Port) next(ctx context.Context) (agedLine, error) {
	select {
	case l, ok := <-p.lines: // before ctx is checked, so that lines that were read are returned
		if !ok {
			return agedLine{}, p.err
		}
		return l, nil
	default:
	}
	select {
	case l, ok := <-p.lines:
		if !ok {
			return agedLine{}, p.err
		}
		return l, nil
	case <-ctx.Done():
		return agedLine{}, ctx.Err()
	}
}

// now returns the present age.
func (p *Port) now() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.age
}

// Forget discards every line that was read, the line being received, and the bytes in the system's
// buffer.
func (p *Port) Forget() {
	if serial, ok := p.conn.(interface{ ResetInputBuffer() error }); ok {
		_ = serial.ResetInputBuffer() // a port that is gone refuses, and holds nothing
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.age++
	p.framing.forget()
}

// Close ends the port and waits until the owner has closed it.
func (p *Port) Close() error {
	p.stopOnce.Do(func() { close(p.stop) })
	if _, timed := p.conn.(purger); !timed {
		_ = p.conn.Close() // releases a Read without a time-out; closing twice is harmless
	}
	<-p.ended
	if errors.Is(p.err, os.ErrClosed) {
		return nil
	}
	return p.err
}

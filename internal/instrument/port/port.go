// Package port opens a serial port as a profile says and reads lines from it.
//
// One goroutine owns the opened port: it alone reads and closes. A second one
// writes, because a write to a serial port has no time-out and may hang for
// ever. A port that is unplugged ends with ErrGone and is not opened again by
// this package. Lines are cut at their end bytes and not understood.
//
// What an io.ReadWriteCloser does is enough (Over), so that a device inside the
// same process is read by the same code.
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

// ErrStuck is wrapped by the error of a write that the device does not accept.
var ErrStuck = errors.New("the port takes nothing")

// Fault is why a line cannot be used.
type Fault string

const (
	Beheaded Fault = "its beginning was missed" // it was being sent when the port was opened
	TooLong  Fault = "longer than 512 bytes"
	Stalled  Fault = "it stopped half-way"
)

// Line is one line without its end.
type Line struct {
	Text  string
	Time  time.Time // when its last byte was read
	Fault Fault     // "" = whole
}

const (
	// tick bounds a single read, and with it how long Close takes.
	tick = 100 * time.Millisecond
	// gap is the silence within a line after which its rest will not come: longer
	// than a slow board pauses, about as long as one takes to restart.
	gap = 3 * time.Second
	// quiet is how long a port must be silent after opening for the next byte to
	// be taken for the beginning of a line: a byte takes 1 ms at 9600 baud, and
	// USB adapters collect for up to 16 ms.
	quiet = 30 * time.Millisecond
	// backlog is how many lines wait for a slow reader before the port's own
	// buffer has to hold the rest.
	backlog = 256
)

// aged is a line and the age in which it was read; Forget begins a new one.
type aged struct {
	Line
	age int
}

// Port is an opened port. Line and Write may be used from different goroutines.
type Port struct {
	conn  io.ReadWriteCloser
	clock func() time.Time
	gap   time.Duration
	lines chan aged
	out   []Line // the owner's, kept to be filled again

	mu    sync.Mutex // of split and age
	split splitter
	age   int // how often Forget was called

	writes    chan *write
	stop      chan struct{} // closed by Close
	stopOnce  sync.Once
	writerOut chan struct{} // closed when the writer has ended
	ended     chan struct{} // closed when the owner has closed the port
	err       error         // why it ended; to be read after ended or lines is closed
}

// Over reads from and writes to an opened connection; terminator is the
// profile's. Times come from clock.
func Over(conn io.ReadWriteCloser, terminator string, clock func() time.Time) *Port {
	p := newPort(conn, terminator, clock)
	p.start()
	return p
}

func newPort(conn io.ReadWriteCloser, terminator string, clock func() time.Time) *Port {
	end := byte('\n')
	if terminator == "\r" {
		end = '\r'
	}
	return &Port{
		conn: conn, clock: clock, gap: gap, split: splitter{end: end},
		lines: make(chan aged, backlog), writes: make(chan *write),
		stop: make(chan struct{}), writerOut: make(chan struct{}), ended: make(chan struct{}),
	}
}

func (p *Port) start() {
	go p.own()
	go p.writeAll()
}

// Line waits for the next line. After the port has ended it gives the lines that
// were read before, then why it ended: ErrGone, or os.ErrClosed after Close.
func (p *Port) Line(ctx context.Context) (Line, error) {
	for {
		l, err := p.next(ctx)
		if err != nil || l.age == p.now() {
			return l.Line, err
		}
	}
}

// next returns the next line of any age.
func (p *Port) next(ctx context.Context) (aged, error) {
	select {
	case l, ok := <-p.lines: // before ctx is asked, so that what was read is given
		if !ok {
			return aged{}, p.err
		}
		return l, nil
	default:
	}
	select {
	case l, ok := <-p.lines:
		if !ok {
			return aged{}, p.err
		}
		return l, nil
	case <-ctx.Done():
		return aged{}, ctx.Err()
	}
}

// now returns the present age.
func (p *Port) now() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.age
}

// Forget drops every line that was read, the one under way, and what the system
// holds of a port that was not read yet.
func (p *Port) Forget() {
	if serial, ok := p.conn.(interface{ ResetInputBuffer() error }); ok {
		_ = serial.ResetInputBuffer() // a port that is gone refuses, and holds nothing
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.age++
	p.split.forget()
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

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
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"go.bug.st/serial"
)

// ErrGone is inside the error of a port that was unplugged or hung up.
var ErrGone = errors.New("the port is gone")

// ErrStuck is inside the error of a write that the device does not take.
var ErrStuck = errors.New("the port takes nothing")

// Fault is why a line is not to be read.
type Fault string

const (
	Beheaded Fault = "its beginning was missed" // it was under way when the port was opened
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
	// than a slow board pauses, about as long as one takes to start anew.
	gap = 3 * time.Second
	// quiet is how long a port must be silent after opening for the next byte to
	// be taken for the beginning of a line: a byte takes 1 ms at 9600 baud, and
	// USB adapters collect for up to 16 ms.
	quiet = 30 * time.Millisecond
	// backlog is how many lines wait for a slow reader before the port's own
	// buffer has to hold the rest.
	backlog = 256
)

// Port is an opened port. Line and Write may be used from different goroutines.
type Port struct {
	conn  io.ReadWriteCloser
	clock func() time.Time
	lines chan Line

	mu    sync.Mutex // of split
	split splitter

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
		conn: conn, clock: clock, split: splitter{end: end},
		lines: make(chan Line, backlog), writes: make(chan *write),
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
	select {
	case l, ok := <-p.lines:
		if !ok {
			return Line{}, p.err
		}
		return l, nil
	default:
	}
	select {
	case l, ok := <-p.lines:
		if !ok {
			return Line{}, p.err
		}
		return l, nil
	case <-ctx.Done():
		return Line{}, ctx.Err()
	}
}

// Forget drops every line that was read, and the one under way.
func (p *Port) Forget() {
	for {
		select {
		case _, ok := <-p.lines:
			if !ok {
				return
			}
		default:
			p.mu.Lock()
			p.split.forget()
			p.mu.Unlock()
			return
		}
	}
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

// own reads until the port ends, then closes it.
func (p *Port) own() {
	err := p.readAll()
	p.stopOnce.Do(func() { close(p.stop) })
	p.awaitWriter()
	if closing := p.conn.Close(); err == nil && closing != nil && !errors.Is(closing, os.ErrClosed) {
		err = closing
	}
	if err == nil {
		err = os.ErrClosed
	}
	p.err = err
	close(p.lines)
	close(p.ended)
}

// readAll reads lines until Close or until a read fails; then the error is ErrGone.
func (p *Port) readAll() error {
	buffer := make([]byte, 4096)
	last := time.Now() // of the latest byte; for silences only, so not p.clock
	for {
		n, err := read(p.conn, buffer)
		select {
		case <-p.stop:
			return nil
		default:
		}
		now := time.Now()
		if now.Sub(last) >= gap {
			p.cut(func(emit func(Line)) { p.split.stall(emit) })
		}
		if n > 0 {
			last = now
			p.cut(func(emit func(Line)) { p.split.feed(buffer[:n], emit) })
		}
		if err != nil {
			return gone(err)
		}
		if n == 0 {
			p.pause()
		}
	}
}

// pause keeps a connection that answers (0, nil) at once from taking a whole
// processor; a serial port has waited by itself.
func (p *Port) pause() {
	if _, timed := p.conn.(purger); timed {
		return
	}
	select {
	case <-p.stop:
	case <-time.After(time.Millisecond):
	}
}

// cut lets the splitter work and hands on the lines that come out. A slow reader
// is waited for outside the lock.
func (p *Port) cut(work func(emit func(Line))) {
	var out []Line
	p.mu.Lock()
	work(func(l Line) { out = append(out, l) })
	p.mu.Unlock()
	for _, l := range out {
		l.Time = p.clock()
		select {
		case p.lines <- l:
		case <-p.stop:
			return
		}
	}
}

// errTooManyFiles is what the serial library panics over: select(2) cannot name
// the port of a process that has so many files open.
var errTooManyFiles = errors.New("too many open files to wait for a serial port")

// read is one Read that does not panic.
func read(conn io.Reader, buffer []byte) (n int, err error) {
	defer func() {
		if recover() != nil {
			n, err = 0, errTooManyFiles
		}
	}()
	return conn.Read(buffer)
}

// gone says of a read's or write's error that the port has ended. The library's
// own words for it, closed, would blame the wrong side.
func gone(err error) error {
	var p *serial.PortError
	switch {
	case errors.Is(err, errTooManyFiles):
		return err
	case errors.Is(err, io.EOF), errors.As(err, &p) && p.Code() == serial.PortClosed:
		return ErrGone
	}
	return fmt.Errorf("%w: %w", ErrGone, err)
}

package port

import (
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"go.bug.st/serial"
)

// run reads until the port ends, then closes it.
func (p *Port) run() {
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
	// How long the line has been silent, for sure: the time that was spent waiting
	// for bytes. While a slow reader takes its time the port is not read, and what has
	// come meanwhile is there at the next read.
	silence := time.Duration(0)
	for {
		begun := time.Now()
		n, err := read(p.conn, buffer)
		select {
		case <-p.stop:
			return nil
		default:
		}
		if err == nil && n == 0 {
			p.pause()
		}
		at := p.clock()
		if silence += time.Since(begun); silence >= p.gap {
			p.split(at, func(emit func(Line)) { p.framing.stalled(emit) })
		}
		if n > 0 {
			silence = 0
			p.split(at, func(emit func(Line)) { p.framing.feed(buffer[:n], at, emit) })
		}
		if err != nil {
			return endError(err)
		}
	}
}

// pause keeps a connection that returns (0, nil) at once from occupying a processor; a serial port
// has already waited.
func (p *Port) pause() {
	if _, timed := p.conn.(purger); timed {
		return
	}
	select {
	case <-p.stop:
	case <-time.After(time.Millisecond):
	}
}

// split passes the bytes read at a time to the framing and hands on the resulting lines. It waits
// for a slow reader outside the lock.
func (p *Port) split(at time.Time, work func(emit func(Line))) {
	out := p.out[:0]
	p.mu.Lock()
	age := p.age
	work(func(l Line) { out = append(out, l) })
	p.mu.Unlock()
	p.out = out
	for _, l := range out {
		if l.Time.IsZero() {
			l.Time = at
		}
		select {
		case p.lines <- agedLine{l, age}:
		case <-p.stop:
			return
		}
	}
}

// errTooManyFiles is the cause of a panic of the serial library: select(2) cannot handle the port
// of a process with so many open files.
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

// endError converts an error of a read or write into one that reports the end of the port. The
// library's own text, "closed", would be misleading.
func endError(err error) error {
	var p *serial.PortError
	switch {
	case errors.Is(err, errTooManyFiles):
		return err
	case errors.Is(err, io.EOF), errors.As(err, &p) && p.Code() == serial.PortClosed:
		return ErrGone
	}
	return fmt.Errorf("%w: %w", ErrGone, err)
}

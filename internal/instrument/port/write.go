package port

import (
	"context"
	"fmt"
	"time"
)

// write is one message on its way to the device.
type write struct {
	data []byte
	done chan error
}

// purger is what a serial port has beside an io.ReadWriteCloser: it can drop
// what waits to be sent, which releases a write that hangs.
type purger interface{ ResetOutputBuffer() error }

// closeTimeout is how long Close waits for a write that hangs.
const closeTimeout = 200 * time.Millisecond

// Write sends data. When ctx ends first the error holds ErrStuck, and the port
// is of no further use for writing: it is not known how much of data was sent.
func (p *Port) Write(ctx context.Context, data []byte) error {
	w := &write{data: data, done: make(chan error, 1)}
	select {
	case p.writes <- w:
	case <-p.ended:
		return p.err
	case <-ctx.Done():
		return fmt.Errorf("%w: %w", ErrStuck, ctx.Err())
	}
	select {
	case err := <-w.done:
		return err
	case <-p.ended:
		select {
		case err := <-w.done: // what was sent was sent, even if it was the last thing heard
			return err
		default:
			return p.err
		}
	case <-ctx.Done():
		return fmt.Errorf("%w: %w", ErrStuck, ctx.Err())
	}
}

// writeAll writes what Write hands over until the port is closed.
func (p *Port) writeAll() {
	defer close(p.writerOut)
	for {
		select {
		case w := <-p.writes:
			w.done <- p.writeOne(w.data)
		case <-p.stop:
			return
		}
	}
}

func (p *Port) writeOne(data []byte) error {
	for len(data) > 0 {
		n, err := p.conn.Write(data)
		if err != nil {
			return gone(err)
		}
		if data = data[n:]; len(data) == 0 {
			break
		}
		select {
		case <-p.stop:
			return fmt.Errorf("%w: closed while writing", ErrGone)
		default:
		}
	}
	return nil
}

// awaitWriter waits until the writer has ended, because a write after the port
// is closed would go to the file that has its descriptor's number by then. A write
// that hangs is freed by dropping what it waits for. One that hangs even then, as
// on a pseudo-terminal, is inside the system with the right file, and harmless.
func (p *Port) awaitWriter() {
	select {
	case <-p.writerOut:
		return
	case <-time.After(closeTimeout):
	}
	if serial, ok := p.conn.(purger); ok {
		_ = serial.ResetOutputBuffer() // a port that is gone refuses; its writes have failed then
	}
	select {
	case <-p.writerOut:
	case <-time.After(closeTimeout):
	}
}

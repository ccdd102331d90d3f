package port

import (
	"context"
	"fmt"
	"time"
)

// write is a message to the device.
type write struct {
	data []byte
	done chan error
}

// purger is the part of a serial port that discards bytes waiting to be sent, which releases a
// write that hangs.
type purger interface{ ResetOutputBuffer() error }

// closeTimeout is how long Close waits for a write that hangs.
const closeTimeout = 200 * time.Millisecond

// Write sends data. If ctx ends first, the error wraps ErrStuck and the port cannot be used for
// writing any more, because it is not known how much of data was sent.
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
		case err := <-w.done: // it was sent, even if the port has ended since
			return err
		default:
			return p.err
		}
	case <-ctx.Done():
		return fmt.Errorf("%w: %w", ErrStuck, ctx.Err())
	}
}

// writeAll writes the messages of Write until the port is closed.
func (p *Port) writeAll() {
	defer close(p.writerEnded)
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
			return endError(err)
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

// awaitWriter waits until the writer has ended, because a write after closing would go to the file
// that has the same descriptor number by then. A write that hangs is released by discarding the
// bytes that it waits for. One that hangs even then, as on a pseudo-terminal, is inside the system
// with the right file, and harmless.
func (p *Port) awaitWriter() {
	select {
	case <-p.writerEnded:
		return
	case <-time.After(closeTimeout):
	}
	if serial, ok := p.conn.(purger); ok {
		_ = serial.ResetOutputBuffer() // a port that is gone refuses; its writes have failed then
	}
	select {
	case <-p.writerEnded:
	case <-time.After(closeTimeout):
	}
}

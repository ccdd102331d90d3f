package port

import (
	"context"
	"fmt"
	"io"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"go.bug.st/serial"

	"ohmkeep/internal/instrument/profile"
)

// Raw is an opened serial port that is read by bytes, for a protocol whose messages are not lines.
// Read returns (0, nil) where nothing came within 100 ms, and ErrGone after the port was unplugged.
// Close may be called during Read, which then returns os.ErrClosed.
type Raw struct {
	conn    serial.Port
	closing atomic.Bool
	reading sync.Mutex // held by Read
}

// OpenRaw opens a serial port. It returns after the profile's settling time.
func OpenRaw(ctx context.Context, path string, settings profile.Port) (*Raw, error) {
	conn, err := openConfigured(ctx, path, settings)
	if err != nil {
		return nil, err
	}
	if err := conn.SetReadTimeout(tick); err != nil {
		_ = conn.Close()
		return nil, fmt.Errorf("port %s: %w", path, endError(err))
	}
	return &Raw{conn: conn}, nil
}

func (r *Raw) Read(buffer []byte) (int, error) {
	r.reading.Lock()
	defer r.reading.Unlock()
	if r.closing.Load() {
		return 0, os.ErrClosed
	}
	n, err := read(r.conn, buffer)
	if err != nil {
		err = endError(err)
	}
	return n, err
}

// Write sends data. After a second without progress the error wraps ErrStuck, and the port can only
// be closed.
func (r *Raw) Write(data []byte) (int, error) {
	type result struct {
		n   int
		err error
	}
	done := make(chan result, 1)
	go func() {
		n, err := r.conn.Write(data)
		if err == nil && n < len(data) {
			err = io.ErrShortWrite
		}
		if err != nil {
			err = endError(err)
		}
		done <- result{n, err}
	}()
	select {
	case d := <-done:
		return d.n, d.err
	case <-time.After(time.Second):
	}
	_ = r.conn.ResetOutputBuffer() // releases the write, except on a pseudo-terminal
	select {
	case <-done:
	case <-time.After(closeTimeout):
	}
	return 0, ErrStuck
}

// Close waits for a Read and closes the port. It must not be called during Write.
func (r *Raw) Close() error {
	if r.closing.Swap(true) {
		return os.ErrClosed
	}
	r.reading.Lock() // a port closed during a read would be read by the number of another file
	defer r.reading.Unlock()
	return r.conn.Close()
}

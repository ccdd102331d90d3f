package throttle

import (
	"bytes"
	"errors"
	"io"
	"net"
	"testing"
	"testing/synctest"
	"time"
)

// What is sent arrives unchanged, and as slowly as the limit says.
func TestConn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		near, far := net.Pipe()
		received := make(chan []byte)
		go func() {
			all, _ := io.ReadAll(far)
			received <- all
		}()
		text := bytes.Repeat([]byte("0123456789"), 1000)
		begun := time.Now()
		conn := Conn(near, 500)
		if n, err := conn.Write(text); n != len(text) || err != nil {
			t.Errorf("%d bytes sent, %v", n, err)
		}
		took := time.Since(begun)
		conn.Close()
		if got := <-received; !bytes.Equal(got, text) {
			t.Errorf("%d bytes arrived, %d were sent", len(got), len(text))
		}
		// 10,000 bytes at 500 a second, of which a quarter of a second's may be sent at once.
		if want := 20*time.Second - burst; took < want-time.Millisecond || took > want+time.Second {
			t.Errorf("took %v, want %v", took, want)
		}
	})
}

// A connection that is closed does not wait until everything would have been sent.
func TestCloseEndsWriting(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		near, far := net.Pipe()
		go io.Copy(io.Discard, far)
		conn := Conn(near, 10)
		go func() { time.Sleep(time.Second); conn.Close() }()
		begun := time.Now()
		if _, err := conn.Write(make([]byte, 100000)); !errors.Is(err, net.ErrClosed) && !errors.Is(err, io.ErrClosedPipe) || time.Since(begun) > 2*time.Second {
			t.Errorf("%v after %v", err, time.Since(begun))
		}
		far.Close()
	})
}

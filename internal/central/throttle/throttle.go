// Package throttle limits the rate at which a connection sends.
package throttle

import (
	"context"
	"net"
	"time"

	"golang.org/x/time/rate"
)

// burst is the period whose bytes may be sent at once.
const burst = time.Second / 4

// Conn returns a connection that sends at most a number of bytes a second, what TLS adds included;
// 0 = no limit.
func Conn(conn net.Conn, bytesPerSecond int) net.Conn {
	if bytesPerSecond <= 0 {
		return conn
	}
	ctx, stop := context.WithCancel(context.Background())
	return &limited{conn, rate.NewLimiter(rate.Limit(bytesPerSecond), max(1, int(float64(bytesPerSecond)*burst.Seconds()))), ctx, stop}
}

type limited struct {
	net.Conn
	limit *rate.Limiter
	open  context.Context
	stop  func()
}

// Write sends in parts, and waits before each.
func (l *limited) Write(b []byte) (sent int, err error) {
	for len(b) > 0 {
		n := min(len(b), l.limit.Burst())
		if l.limit.WaitN(l.open, n) != nil {
			return sent, net.ErrClosed
		}
		n, err = l.Conn.Write(b[:n])
		sent += n
		if err != nil {
			return sent, err
		}
		b = b[n:]
	}
	return sent, nil
}

// Close ends the connection, and a Write that waits.
func (l *limited) Close() error {
	l.stop()
	return l.Conn.Close()
}

package server

import (
	"errors"
	"fmt"
	"net"
	"os"
	"sync"

	"ohmkeep/internal/fault"
)

// MaxConnections limits the memory and the descriptors of the HTTP server. It is many times
// what a few browsers, a metrics server and a controller use.
const MaxConnections = 100

// ConnectionLimit returns the largest number of connections. At least half of the program's
// descriptors are left to ports and store.
func ConnectionLimit() int { return min(MaxConnections, descriptors()/2) }

// Listen listens on host:port. The error is a fault.Fault or that of the system.
func Listen(at string) (net.Listener, error) {
	l, err := net.Listen("tcp", at)
	if err == nil {
		return l, nil
	}
	if malformed, ok := errors.AsType[*net.AddrError](err); ok {
		return nil, fault.Fault{Key: "--listen", Text: fmt.Sprintf("%q: %s", at, malformed.Err), Hint: "host:port, such as 127.0.0.1:9477"}
	}
	if refused, ok := errors.AsType[*os.SyscallError](err); ok {
		return nil, fault.Fault{Key: "--listen", Text: fmt.Sprintf("%s: %v", at, refused.Err),
			Hint: "choose a free port and an address of this machine; ohmkeep status --at " + at + " says whether a watch answers there"}
	}
	return nil, fmt.Errorf("--listen: %w", err)
}

// listener accepts connections up to a limit. Beyond it, it closes the oldest connection that has
// not sent a whole request, so that unfinished requests cannot block new ones.
type listener struct {
	net.Listener
	max int

	mu    sync.Mutex
	open  []*connection // oldest first
	ended bool          // closeUnfinished was called
}

// connection is a connection of a listener.
type connection struct {
	net.Conn
	of    *listener
	whole bool // its request was received whole and is being handled; guarded by listener.mu
}

func newListener(l net.Listener, max int) *listener { return &listener{Listener: l, max: max} }

func (l *listener) Accept() (net.Conn, error) {
	accepted, err := l.Listener.Accept()
	for outOfDescriptors(err) && l.closeOldest() {
		accepted, err = l.Listener.Accept()
	}
	if err != nil {
		return nil, err
	}
	c := &connection{Conn: accepted, of: l}
	l.mu.Lock()
	l.open = append(l.open, c)
	many, ended := len(l.open) > l.max, l.ended
	l.mu.Unlock()
	if ended { // it came while the server was being shut down
		_ = c.Close()
		return nil, net.ErrClosed
	}
	if many {
		l.closeOldest()
	}
	return c, nil
}

// closeOldest closes the oldest connection, and reports whether there was one.
func (l *listener) closeOldest() bool {
	l.mu.Lock()
	var closing *connection
	if len(l.open) > 0 {
		closing = l.oldest()
	}
	l.mu.Unlock()
	if closing != nil {
		_ = closing.Close() // the connection is given up in any case
	}
	return closing != nil
}

// closeUnfinished closes every connection that has not sent a whole request, and accepts no more.
func (l *listener) closeUnfinished() {
	l.mu.Lock()
	l.ended = true
	var unfinished []*connection
	for _, c := range l.open {
		if !c.whole {
			unfinished = append(unfinished, c)
		}
	}
	l.mu.Unlock()
	for _, c := range unfinished {
		_ = c.Close() // the connection is given up in any case
	}
}

// oldest returns the oldest connection that has not sent a whole request, or the oldest one if
// all have; l.mu is held.
func (l *listener) oldest() *connection {
	for _, c := range l.open {
		if !c.whole {
			return c
		}
	}
	return l.open[0]
}

func (c *connection) Close() error {
	c.of.mu.Lock()
	for i, one := range c.of.open {
		if one == c {
			c.of.open = append(c.of.open[:i], c.of.open[i+1:]...)
			break
		}
	}
	c.of.mu.Unlock()
	return c.Conn.Close()
}

// setWhole records whether a whole request of the connection is being handled.
func (c *connection) setWhole(whole bool) {
	c.of.mu.Lock()
	c.whole = whole
	c.of.mu.Unlock()
}

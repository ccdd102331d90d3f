// Package servertest connects an HTTP server and its clients inside the process, so that a test can run both with a
// simulated clock (testing/synctest).
package servertest

import (
	"context"
	"net"
	"net/http"
	"sync"
	"testing"
)

// Listener accepts the connections that Dial makes.
type Listener struct {
	dialled chan net.Conn
	ended   chan struct{}
	once    sync.Once
}

// Listen returns a listener without an address.
func Listen() *Listener {
	return &Listener{dialled: make(chan net.Conn), ended: make(chan struct{})}
}

// Dial returns the client's end of a new connection. A write on it returns once the server has read it.
func (l *Listener) Dial() (net.Conn, error) {
	client, server := net.Pipe()
	select {
	case l.dialled <- server:
		return client, nil
	case <-l.ended:
		return nil, net.ErrClosed
	}
}

// Client returns a client that asks this server, whichever host its requests name, each time over a new connection.
func (l *Listener) Client() *http.Client {
	dial := func(context.Context, string, string) (net.Conn, error) { return l.Dial() }
	return &http.Client{Transport: &http.Transport{DialContext: dial, DisableKeepAlives: true}}
}

// Serve serves a handler until the test ends, and returns a client that asks it, whichever host its requests name.
func Serve(t testing.TB, h http.Handler) *http.Client {
	inside := Listen()
	server := &http.Server{Handler: h}
	t.Cleanup(func() { _ = server.Close() })
	go func() { _ = server.Serve(inside) }()
	return inside.Client()
}

// Accept waits for the next connection. After Close the error is net.ErrClosed.
func (l *Listener) Accept() (net.Conn, error) {
	select {
	case c := <-l.dialled:
		return c, nil
	case <-l.ended:
		return nil, net.ErrClosed
	}
}

// Close ends Accept and Dial.
func (l *Listener) Close() error {
	l.once.Do(func() { close(l.ended) })
	return nil
}

// Addr returns the address of a pipe.
func (l *Listener) Addr() net.Addr {
	client, _ := net.Pipe()
	return client.LocalAddr()
}

// Package server serves HTTP within limits: the number of connections, the time and the size of
// everything that it reads, and the time of each response. It serves TLS where it is given a
// certificate, which is read again when its files change.
//
// The program is built without HTTP/2 (build tag nethttpomithttp2). Who may enter is the subject
// of web/access.
package server

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"time"
)

// Time-outs of a connection: the client must send its request and read the response in time. A
// handler that streams moves the latter with http.ResponseController.SetWriteDeadline.
const (
	readHeaderTimeout = 5 * time.Second
	readTimeout       = 10 * time.Second
	writeTimeout      = 30 * time.Second
	idleTimeout       = 30 * time.Second
)

// shutdownTime is how long responses may take to end: half of the 0.5 s in which a program that is
// interrupted ends.
const shutdownTime = 250 * time.Millisecond

// Largest sizes of a request, in bytes. A handler may allow less.
const (
	maxHeader = 1 << 14
	maxBody   = 1 << 18
	// maxDiscarded is how much of a body that is too long is read, without keeping it, so that its
	// sender gets the response. Beyond it the connection is reset.
	maxDiscarded = 1 << 24
)

// Options are how a server answers.
type Options struct {
	Certificate *Certificate  // nil: without TLS
	ReadTime    time.Duration // to read a whole request; 0: 10 s
}

// Server is an HTTP server on one listener.
type Server struct {
	http     *http.Server
	listener net.Listener
}

// New returns a server of a handler on a listener that Listen returned.
func New(l net.Listener, h http.Handler, o Options) *Server {
	limited := newListener(l, ConnectionLimit())
	listener := net.Listener(limited)
	if o.Certificate != nil {
		listener = tls.NewListener(limited, o.Certificate.config())
	}
	s := &Server{listener: listener, http: &http.Server{
		Handler: withLimits(h), ConnContext: withConnection, ConnState: followState,
		ErrorLog:          slog.NewLogLogger(slog.DiscardHandler, 0),
		ReadHeaderTimeout: min(readHeaderTimeout, cmp.Or(o.ReadTime, readTimeout)), ReadTimeout: cmp.Or(o.ReadTime, readTimeout), WriteTimeout: writeTimeout,
		IdleTimeout: idleTimeout, MaxHeaderBytes: maxHeader,
	}}
	s.OnShutdown(limited.closeUnfinished)
	return s
}

// Serve answers requests until the server is shut down, and then returns nil.
func (s *Server) Serve() error {
	if err := s.http.Serve(s.listener); !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("listen: %w", err)
	}
	return nil
}

// Shutdown stops listening, closes connections that have not sent a whole request, and waits for
// responses for 250 ms at most, or until ctx ends; those not finished by then are cut off.
func (s *Server) Shutdown(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, shutdownTime)
	defer cancel()
	if s.http.Shutdown(ctx) != nil {
		_ = s.http.Close() // the connections are given up in any case
	}
}

// OnShutdown calls f when the server is being shut down: streams end themselves.
func (s *Server) OnShutdown(f func()) { s.http.RegisterOnShutdown(f) }

// connectionKey is the key of a request's connection in its context.
type connectionKey struct{}

// withConnection is the http.Server's ConnContext.
func withConnection(ctx context.Context, c net.Conn) context.Context {
	return context.WithValue(ctx, connectionKey{}, belowTLS(c))
}

// belowTLS returns the connection that the listener accepted.
func belowTLS(c net.Conn) *connection {
	if secure, ok := c.(*tls.Conn); ok {
		c = secure.NetConn()
	}
	return c.(*connection)
}

// followState is the http.Server's ConnState.
func followState(c net.Conn, state http.ConnState) {
	if state == http.StateIdle { // the response is sent
		belowTLS(c).setWhole(false)
	}
}

// withLimits returns a handler that limits the body of every request, and records when it was
// received whole: then its connection is kept until the response is sent.
func withLimits(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		c := r.Context().Value(connectionKey{}).(*connection)
		received := &body{ReadCloser: r.Body, whole: func() { c.setWhole(true) }}
		if r.ContentLength == 0 {
			received.whole()
		}
		r.Body = http.MaxBytesReader(w, received, maxBody)
		h.ServeHTTP(w, r)
		received.discard()
	})
}

// body is the body of a request.
type body struct {
	io.ReadCloser
	whole      func() // called when its end was read
	begun, end bool   // was read; was read to its end or an error
}

func (b *body) Read(p []byte) (int, error) {
	b.begun = true
	n, err := b.ReadCloser.Read(p)
	if b.end = err != nil; err == io.EOF {
		b.whole()
	}
	return n, err
}

// discard reads the rest of a body that the handler did not read to its end.
func (b *body) discard() {
	if b.begun && !b.end {
		_, _ = io.CopyN(io.Discard, b, maxDiscarded) // without its rest too the response is sent
	}
}

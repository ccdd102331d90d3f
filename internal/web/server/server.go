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

// Largest sizes of a request, in bytes. A handler may allow less.
const (
	maxHeader = 1 << 14
	maxBody   = 1 << 18
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
	limited := net.Listener(newListener(l, ConnectionLimit()))
	if o.Certificate != nil {
		limited = tls.NewListener(limited, o.Certificate.config())
	}
	return &Server{listener: limited, http: &http.Server{
		Handler: withLimits(h), ConnContext: withConnection, ErrorLog: slog.NewLogLogger(slog.DiscardHandler, 0),
		ReadHeaderTimeout: min(readHeaderTimeout, cmp.Or(o.ReadTime, readTimeout)), ReadTimeout: cmp.Or(o.ReadTime, readTimeout), WriteTimeout: writeTimeout,
		IdleTimeout: idleTimeout, MaxHeaderBytes: maxHeader,
	}}
}

// Serve answers requests until the server is shut down, and then returns nil.
func (s *Server) Serve() error {
	if err := s.http.Serve(s.listener); !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("listen: %w", err)
	}
	return nil
}

// Shutdown stops listening and waits for requests that are being handled, until ctx ends; those
// that are not finished by then are cut off.
func (s *Server) Shutdown(ctx context.Context) {
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
	if secure, ok := c.(*tls.Conn); ok {
		c = secure.NetConn()
	}
	return context.WithValue(ctx, connectionKey{}, c)
}

// withLimits returns a handler that limits the body of every request, and keeps the connection
// until the response is sent.
func withLimits(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if c, ok := r.Context().Value(connectionKey{}).(*connection); ok {
			defer c.beginAnswer()()
		}
		r.Body = http.MaxBytesReader(w, r.Body, maxBody)
		h.ServeHTTP(w, r)
	})
}

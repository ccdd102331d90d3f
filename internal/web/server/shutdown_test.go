package server

import (
	"crypto/tls"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"testing"
	"testing/synctest"
	"time"

	"ohmkeep/internal/web/servertest"
)

// certified returns a certificate that is valid now.
func certified(t *testing.T) *Certificate {
	t.Helper()
	now := time.Now()
	certFile, keyFile := pair(t, t.TempDir(), 1, now.Add(-time.Hour), now.Add(365*24*time.Hour))
	certificate, err := LoadCertificate(certFile, keyFile, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	return certificate
}

// An end does not wait for connections that have not sent a whole request. It waits for a response
// that is under way, but not for one that does not end. The times are of a simulated clock.
func TestShutdownWithUnfinishedRequests(t *testing.T) {
	for name, c := range map[string]struct {
		sent        string
		secure      bool
		least, most time.Duration // of the shutdown
		answered    bool
	}{
		"idle":                 {most: shutdownTime / 5},
		"half a header":        {sent: "GET / HT", most: shutdownTime / 5},
		"half a body":          {sent: "POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 10\r\n\r\n1", most: shutdownTime / 5},
		"half a TLS handshake": {sent: "\x16\x03\x01\x02", secure: true, most: shutdownTime / 5},
		"a slow response":      {sent: "GET /?after=100ms HTTP/1.1\r\nHost: x\r\n\r\n", least: 100 * time.Millisecond, most: shutdownTime, answered: true},
		"after a whole body":   {sent: "POST /?after=100ms HTTP/1.1\r\nHost: x\r\nContent-Length: 1\r\n\r\n1", least: 100 * time.Millisecond, most: shutdownTime, answered: true},
		"no end of a response": {sent: "GET /?after=1m HTTP/1.1\r\nHost: x\r\n\r\n", least: shutdownTime, most: 2 * shutdownTime},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				l := servertest.Listen()
				o := Options{}
				if c.secure {
					o.Certificate = certified(t)
				}
				s := New(l, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
					_, _ = io.Copy(io.Discard, r.Body)
					after, _ := time.ParseDuration(r.URL.Query().Get("after"))
					select {
					case <-time.After(after):
						fmt.Fprint(w, "answered")
					case <-r.Context().Done():
					}
				}), o)
				ended := make(chan error, 1)
				go func() { ended <- s.Serve() }()
				open, err := l.Dial()
				if err != nil {
					t.Fatal(err)
				}
				defer open.Close()
				_, _ = io.WriteString(open, c.sent)
				answer := make(chan []byte, 1)
				go func() {
					text, _ := io.ReadAll(open)
					answer <- text
				}()
				synctest.Wait() // it is accepted and read
				begun := time.Now()
				s.Shutdown(t.Context())
				if took := time.Since(begun); took < c.least || took >= c.most {
					t.Errorf("took %v, want %v to %v", took, c.least, c.most)
				}
				if err := <-ended; err != nil {
					t.Error(err)
				}
				if text := <-answer; len(text) > 0 != c.answered {
					t.Errorf("answer %q", text)
				}
			})
		})
	}
}

// Where a client has entered TLS and sends no request, an end does not wait either.
func TestShutdownWithinTLS(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := servertest.Listen()
		s := New(l, http.NotFoundHandler(), Options{Certificate: certified(t)})
		go func() { _ = s.Serve() }()
		open, err := l.Dial()
		if err != nil {
			t.Fatal(err)
		}
		c := tls.Client(open, &tls.Config{InsecureSkipVerify: true}) // its certificate is not the subject
		if err := c.HandshakeContext(t.Context()); err != nil {
			t.Fatal(err)
		}
		go func() { _, _ = io.Copy(io.Discard, c) }()
		begun := time.Now()
		if s.Shutdown(t.Context()); time.Since(begun) >= shutdownTime/5 {
			t.Errorf("took %v", time.Since(begun))
		}
		_ = open.Close()
	})
}

package server

import (
	"crypto/tls"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"testing"
	"time"
)

// An end does not wait for connections that have not sent a whole request. It waits for a response
// that is under way, but not for one that does not end. One that waits in vain takes shutdownTime.
func TestShutdownWithUnfinishedRequests(t *testing.T) {
	t.Parallel()
	now := time.Now()
	certFile, keyFile := pair(t, t.TempDir(), 1, now, now.Add(365*24*time.Hour))
	certificate, err := LoadCertificate(certFile, keyFile, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		sent        string
		certificate *Certificate
		least, most time.Duration // from the request; from the end
		answered    bool
	}{
		"idle":                 {most: shutdownTime},
		"half a header":        {sent: "GET / HT", most: shutdownTime},
		"half a body":          {sent: "POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 10\r\n\r\n1", most: shutdownTime},
		"half a TLS handshake": {sent: "\x16\x03\x01\x02", certificate: certificate, most: shutdownTime},
		"a slow response":      {sent: "GET /?after=100ms HTTP/1.1\r\nHost: x\r\n\r\n", least: 100 * time.Millisecond, most: shutdownTime, answered: true},
		"after a whole body":   {sent: "POST /?after=100ms HTTP/1.1\r\nHost: x\r\nContent-Length: 1\r\n\r\n1", least: 100 * time.Millisecond, most: shutdownTime, answered: true},
		"no end of a response": {sent: "GET /?after=1m HTTP/1.1\r\nHost: x\r\n\r\n", least: shutdownTime, most: 10 * shutdownTime},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			l, err := Listen("127.0.0.1:0")
			if err != nil {
				t.Fatal(err)
			}
			s := New(l, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				_, _ = io.Copy(io.Discard, r.Body)
				after, _ := time.ParseDuration(r.URL.Query().Get("after"))
				select {
				case <-time.After(after):
					fmt.Fprint(w, "answered")
				case <-r.Context().Done():
				}
			}), Options{Certificate: c.certificate})
			ended := make(chan error, 1)
			go func() { ended <- s.Serve() }()
			open, err := net.Dial("tcp", l.Addr().String())
			if err != nil {
				t.Fatal(err)
			}
			defer open.Close()
			sent := time.Now()
			_, _ = io.WriteString(open, c.sent)
			time.Sleep(50 * time.Millisecond) // it is accepted and read
			begun := time.Now()
			s.Shutdown(t.Context())
			if err := <-ended; err != nil {
				t.Error(err)
			}
			if took := time.Since(begun); took >= c.most {
				t.Errorf("took %v, want below %v", took, c.most)
			}
			if took := time.Since(sent); took < c.least {
				t.Errorf("ended %v after the request, want %v", took, c.least)
			}
			_ = open.SetReadDeadline(time.Now().Add(time.Second))
			if answer, _ := io.ReadAll(open); len(answer) > 0 != c.answered {
				t.Errorf("answer %q", answer)
			}
		})
	}
}

// Where a client has entered TLS and sends no request, an end does not wait either.
func TestShutdownWithinTLS(t *testing.T) {
	t.Parallel()
	now := time.Now()
	certFile, keyFile := pair(t, t.TempDir(), 1, now, now.Add(365*24*time.Hour))
	certificate, err := LoadCertificate(certFile, keyFile, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	l, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := New(l, http.NotFoundHandler(), Options{Certificate: certificate})
	go func() { _ = s.Serve() }()
	c, err := tls.Dial("tcp", l.Addr().String(), &tls.Config{InsecureSkipVerify: true}) // its certificate is not the subject
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	begun := time.Now()
	if s.Shutdown(t.Context()); time.Since(begun) >= shutdownTime {
		t.Errorf("took %v", time.Since(begun))
	}
}

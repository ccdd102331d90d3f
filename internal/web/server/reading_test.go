package server

import (
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"ohmkeep/internal/web/servertest"
)

// Once a request is read, its answer may take longer than the time for reading: its context does not end.
func TestAnswerMayTakeLonger(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		const allowed = 50 * time.Millisecond
		l := servertest.Listen()
		s := New(l, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			body, err := io.ReadAll(r.Body)
			select {
			case <-r.Context().Done():
			case <-time.After(4 * allowed):
			}
			fmt.Fprintf(w, "%s %v %v", body, err, r.Context().Err())
		}), Options{ReadTime: allowed})
		ended := make(chan error, 1)
		go func() { ended <- s.Serve() }()
		defer func() { s.Shutdown(t.Context()); <-ended }()
		for _, body := range []string{"", "a body"} {
			answer, err := l.Client().Post("http://localhost", "text/plain", strings.NewReader(body))
			if err != nil {
				t.Fatal(err)
			}
			text, err := io.ReadAll(answer.Body)
			answer.Body.Close()
			if want := body + " <nil> <nil>"; err != nil || string(text) != want {
				t.Errorf("%q, want %q: %v", text, want, err)
			}
		}
	})
}

// A request that is not received whole in time is given up, also one by TLS where there is none.
func TestSlowRequests(t *testing.T) {
	for sent, status := range map[string]string{
		"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 10\r\n\r\n1": "413",
		"GET / HTTP/1.1\r\nHost: x\r\nX-A: ":                        "",
		"\x16\x03\x01\x02\x00\x01\x00":                              "",
	} {
		synctest.Test(t, func(t *testing.T) {
			const allowed = 300 * time.Millisecond
			l := servertest.Listen()
			s := New(l, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				if _, err := io.Copy(io.Discard, r.Body); err != nil {
					w.WriteHeader(http.StatusRequestEntityTooLarge)
				}
			}), Options{ReadTime: allowed})
			go func() { _ = s.Serve() }()
			defer s.Shutdown(t.Context())
			begun := time.Now()
			open, err := l.Dial()
			if err != nil {
				t.Fatal(err)
			}
			defer open.Close()
			_, _ = io.WriteString(open, sent)
			text, err := io.ReadAll(open)
			line, _, _ := strings.Cut(string(text), "\n")
			if took := time.Since(begun); err != nil || took < allowed || took > 2*allowed || !strings.Contains(line, status) || strings.Contains(line, "200") {
				t.Errorf("%.40q: %q after %v, %v", sent, line, took, err)
			}
		})
	}
}

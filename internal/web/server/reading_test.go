package server

import (
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"
)

// Once a request is read, its answer may take longer than the time for reading: its context does not end.
func TestAnswerMayTakeLonger(t *testing.T) {
	t.Parallel()
	const allowed = 50 * time.Millisecond
	l, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
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
		answer, err := http.Post("http://"+l.Addr().String(), "text/plain", strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(answer.Body)
		answer.Body.Close()
		if want := body + " <nil> <nil>"; err != nil || string(text) != want {
			t.Errorf("%q, want %q: %v", text, want, err)
		}
	}
}

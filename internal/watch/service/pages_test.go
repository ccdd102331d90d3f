package service

import (
	"context"
	"fmt"
	"net/http"
	"sync/atomic"
	"testing"
	"time"

	"ohmkeep/internal/result/history"
	"ohmkeep/internal/watch/recorder"
	"ohmkeep/internal/web/server"
)

// Pages answer what the service does not answer itself, and use the watch that they are given. A
// response that they hold ends with the watch, and does not hold up its end.
func TestPages(t *testing.T) {
	var analyses atomic.Int64
	held := make(chan struct{})
	released := make(chan error, 1)
	var watch Watch
	h := start(t, func(c *Config) {
		c.AnalyseAfter = time.Hour
		c.Analyse = func(context.Context, recorder.Plan) (*history.History, error) {
			analyses.Add(1)
			return &history.History{Last: time.Unix(1, 0)}, nil
		}
		c.Pages = func(w Watch) http.Handler {
			watch = w
			return http.HandlerFunc(func(to http.ResponseWriter, r *http.Request) {
				if r.URL.Path == "/held" {
					close(held)
					<-w.Done()
					released <- r.Context().Err()
				}
				fmt.Fprintf(to, "page of %s at %s", w.Run().Name, r.URL.Path)
			})
		}
	})
	for _, path := range []string{"/", "/walk"} {
		if code, text := h.ask("GET", path, "", ""); code != 200 || text != "page of "+watch.Run().Name+" at "+path {
			t.Errorf("%s: %d %s", path, code, text)
		}
	}
	for _, c := range [][2]string{{"GET", "/step"}, {"PUT", "/step"}, {"POST", "/status"}, {"POST", "/healthz"}, {"DELETE", "/metrics"}} {
		if code, text := h.ask(c[0], c[1], "", ""); code != 405 { // RFC 9110, 15.5.6
			t.Errorf("%s %s: %d %s", c[0], c[1], code, text)
		}
	}
	if code, text := h.ask("GET", "/healthz", "", ""); code != 200 || text[:16] != "The watch is wel" {
		t.Errorf("%d %s", code, text)
	}
	if err := watch.Announce("white 5 %", 0, "the test"); err != nil || watch.Status().Step != "white 5 %" {
		t.Errorf("%v, %q", err, watch.Status().Step)
	}
	if watch.History() != nil {
		t.Error("a history before the first analysis")
	}
	watch.AnalyseSoon()
	h.until("analysed", func() bool { return watch.History() != nil })
	if n := watch.MaxStreams(); n < 1 || n > server.MaxConnections/2 {
		t.Errorf("%d responses may be held", n)
	}
	go func() {
		if answer, err := http.Get("http://" + h.addr + "/held"); err == nil {
			answer.Body.Close()
		}
	}()
	<-held
	h.cancel()
	if err := <-released; err != nil {
		t.Errorf("a response that waits for the end was cut off before it: %v", err)
	}
	h.until("ended", func() bool { return len(h.ended) > 0 })
}

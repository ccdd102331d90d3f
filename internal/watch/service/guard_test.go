package service

import (
	"bufio"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"strings"
	"testing"
	"time"

	"ohmkeep/internal/watch/recorder"
	"ohmkeep/internal/web/access"
	"ohmkeep/internal/web/server"
)

var halfSent = flag.Int("connections", 1500, "how many requests are left half sent")

// Requests that are left half sent, more than the program has descriptors for, hold no
// more than the bound, and every new request is answered meanwhile.
func TestHalfSentRequests(t *testing.T) {
	h := start(t, nil)
	var left []net.Conn
	defer func() {
		for _, c := range left {
			c.Close()
		}
	}()
	slowest, unanswered := time.Duration(0), 0
	client := &http.Client{Timeout: time.Minute, Transport: &http.Transport{DisableKeepAlives: true}}
	for i := range *halfSent {
		c, err := net.Dial("tcp", h.addr)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(c, "POST /step HTTP/1.1\r\nHost: loc"); err != nil && i < server.MaxConnections {
			t.Fatal(err)
		}
		if left = append(left, c); len(left) > 2*server.MaxConnections { // the watch has closed it long ago
			left[0].Close()
			left = left[1:]
		}
		if i%100 != 99 {
			continue
		}
		begun := time.Now()
		answer, err := client.Get("http://" + h.addr + "/healthz")
		if err != nil {
			unanswered++
			t.Errorf("after %d half-sent requests: %v", i+1, err)
			continue
		}
		_, _ = io.Copy(io.Discard, answer.Body)
		answer.Body.Close()
		slowest = max(slowest, time.Since(begun))
		if answer.StatusCode != 200 {
			t.Fatalf("after %d half-sent requests: %d", i+1, answer.StatusCode)
		}
	}
	if slowest > 20*time.Second {
		t.Errorf("an answer took %v", slowest)
	}
	// All but the newest were closed: a read ends.
	_ = left[0].SetReadDeadline(time.Now().Add(time.Minute))
	if _, err := left[0].Read(make([]byte, 1)); err == nil || errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("the oldest that is left open: %v", err)
	}
	t.Logf("proof: requests left half sent (lost: unanswered): %d tried, %d lost, 0 doubled, 0 misplaced, 0 unsaid", *halfSent, unanswered)
	t.Logf("%d half-sent requests, the slowest answer of %d took %v", *halfSent, *halfSent/100, slowest.Round(time.Millisecond))
}

// A request whose body does not arrive is closed after the time-out.
func TestBodyThatDoesNotCome(t *testing.T) {
	t.Parallel()
	const allowed = 500 * time.Millisecond
	h := start(t, func(c *Config) { c.readTime = allowed })
	begun := time.Now()
	c, err := net.Dial("tcp", h.addr)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprintf(c, "POST /step HTTP/1.1\r\nHost: localhost\r\nContent-Length: 10\r\n\r\n1")
	_ = c.SetReadDeadline(begun.Add(time.Minute))
	text, err := io.ReadAll(bufio.NewReader(c))
	if err != nil || time.Since(begun) < allowed {
		t.Errorf("after %v: %v, %s", time.Since(begun), err, text)
	}
}

// Each answer, also of an error, states its content type, is not cached, and is not shown in a
// frame.
func TestHeaders(t *testing.T) {
	h := start(t, nil)
	for _, path := range []string{"/", "/healthz", "/status", "/metrics", "/nothing", "/step"} {
		answer, err := http.Get("http://" + h.addr + path)
		if err != nil {
			t.Fatal(err)
		}
		answer.Body.Close()
		header := answer.Header
		if header.Get("X-Content-Type-Options") != "nosniff" || header.Get("Cache-Control") != "no-store" ||
			!strings.Contains(header.Get("Content-Security-Policy"), "frame-ancestors 'none'") {
			t.Errorf("%s: %v", path, header)
		}
	}
}

// The mark of a step names its sender. A sender of too many steps is refused, and the marks stay
// few.
func TestAnnouncementsAreBounded(t *testing.T) {
	kept := &book{}
	h := start(t, func(c *Config) { c.Store, c.Commit = kept, 20*time.Millisecond })
	if code, text := h.ask("POST", "/step?settle=61", "text/plain", "white 5 %"); code != 400 || !strings.Contains(text, "0 to 60") {
		t.Errorf("a long time to settle: %d %s", code, text)
	}
	codes := map[int]int{}
	for i := range 200 {
		code, _ := h.ask("POST", "/step", "text/plain", []string{"white 5 %", ""}[i%2])
		codes[code]++
	}
	if codes[204] < 60 || codes[429] < 50 || codes[204]+codes[429] != 200 {
		t.Errorf("answers %v", codes)
	}
	marks := func() (texts []string) {
		kept.mu.Lock()
		defer kept.mu.Unlock()
		for _, m := range kept.marks {
			if m.Kind == recorder.Announced {
				texts = append(texts, m.Text)
			}
		}
		return texts
	}
	h.until("marked", func() bool { return len(marks()) >= 20 })
	if got := marks(); len(got) > 21 || got[0] != `"white 5 %", announced by 127.0.0.1` {
		t.Errorf("%d marks: %q", len(got), got)
	}
	if n := strings.Count(h.log.String(), "step announced"); n > 21 {
		t.Errorf("%d lines of log", n)
	}
}

// The status contains no path of this machine.
func TestStatusTellsNoFolders(t *testing.T) {
	h := start(t, func(c *Config) {
		c.Notes = func() []string {
			return []string{"/var/lib/ohmkeep/readings.db is damaged: page 7 (faults: 1)", "kept as \"/var/lib/x.db\"", "1/2 of it"}
		}
		p := plan(t, strings.Replace(hall, `port = "none"`, `port = "/dev/serial/by-id/usb-board"`, 1))
		c.Plan = p
	})
	_, text := h.ask("GET", "/status", "", "")
	for _, want := range []string{`"readings.db is damaged: page 7 (faults: 1)"`, `kept as \"x.db\"`, `"1/2 of it"`, `"port":"usb-board"`} {
		if !strings.Contains(text, want) {
			t.Errorf("no %s in %s", want, text)
		}
	}
	for _, path := range []string{"/", "/status", "/healthz"} {
		if _, text := h.ask("GET", path, "", ""); strings.Contains(text, "/var/") || strings.Contains(text, "/dev/") {
			t.Errorf("%s: %s", path, text)
		}
	}
}

// A watch that other machines can reach does not start without the word that they may enter, and
// then says so in its log and its status.
func TestListeningBeyondLoopback(t *testing.T) {
	const note = "every machine that reaches 0.0.0.0:0 can read everything and write"
	if h := start(t, nil); strings.Contains(h.log.String(), "every machine") {
		t.Errorf("loopback: %s", h.log)
	}
	c := Config{Plan: plan(t, hall), Store: nothing{}, Listen: "0.0.0.0:0", Log: slog.New(slog.DiscardHandler)}
	if err := Run(t.Context(), c); err == nil || !strings.Contains(err.Error(), "--listen: 0.0.0.0:0 can be reached from other machines, and nothing says who may enter") {
		t.Errorf("every address without a word: %v", err)
	}
	h := start(t, func(c *Config) {
		c.Listen = "0.0.0.0:0"
		var err error
		if c.Access, err = access.New(access.Options{Address: c.Listen, Open: true, Log: c.Log}); err != nil {
			t.Fatal(err)
		}
	})
	_, status := h.ask("GET", "/status", "", "")
	if !strings.Contains(h.log.String(), note) || !strings.Contains(status, note) {
		t.Errorf("every address: %s\n%s", h.log, status)
	}
}

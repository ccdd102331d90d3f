package parts

import (
	"bufio"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"ohmkeep/internal/web/servertest"
)

// opened is a page that has a feed open.
type opened struct {
	t     *testing.T
	body  io.Closer
	lines *bufio.Scanner
}

func open(t *testing.T, client *http.Client, address string) *opened {
	t.Helper()
	r, err := client.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Body.Close() })
	if r.StatusCode != 200 || r.Header.Get("Content-Type") != "text/event-stream" {
		t.Fatalf("%d %v", r.StatusCode, r.Header)
	}
	lines := bufio.NewScanner(r.Body)
	lines.Buffer(nil, 1<<20)
	return &opened{t, r.Body, lines}
}

// next returns the next event that is no beat, as "name: data"; "" at the end.
func (o *opened) next() string {
	name, data := "", ""
	for o.lines.Scan() {
		switch line := o.lines.Text(); {
		case strings.HasPrefix(line, "event: "):
			name = line[len("event: "):]
		case strings.HasPrefix(line, "data: "):
			data += line[len("data: "):]
		case name == "beat":
			name, data = "", ""
		default:
			return name + ": " + data
		}
	}
	return ""
}

// serve serves a feed inside the process, with time-outs that are shorter than it is open, and returns its clients.
func serve(t *testing.T, feed http.Handler) *http.Client {
	l := servertest.Listen()
	s := &http.Server{Handler: feed, ReadTimeout: 100 * time.Millisecond, WriteTimeout: 100 * time.Millisecond}
	go func() { _ = s.Serve(l) }()
	t.Cleanup(func() { _ = s.Close() })
	return l.Client()
}

// A page that opens gets the newest event of every name, and then each new one, long after the
// server's time-outs of reading and writing. Data that did not change is not sent again. The end is
// sent at once. The times are of a simulated clock.
func TestFeed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		done := make(chan struct{})
		fresh := 0
		var feed *Feed
		feed = NewFeed(NewStreams(4, done), func() { fresh++; feed.Publish("step", []byte(`"dark"`)) })
		feed.Publish("volts", []byte("1"))
		feed.Publish("volts", []byte("2"))
		page := open(t, serve(t, feed), "http://localhost")
		for _, want := range []string{"volts: 2", `step: "dark"`} {
			if got := page.next(); got != want {
				t.Errorf("%s, want %s", got, want)
			}
		}
		time.Sleep(300 * time.Millisecond)
		feed.Publish("volts", []byte("2"))
		feed.Publish("note", []byte("two\nlines"))
		if got := page.next(); got != "note: twolines" {
			t.Errorf("after the time-outs: %s", got)
		}
		if feed.Pages() != 1 || fresh != 1 {
			t.Errorf("%d pages, brought up to date %d times", feed.Pages(), fresh)
		}
		begun := time.Now()
		close(done)
		if end := page.next() + page.next(); end != "end: 1" || time.Since(begun) > time.Millisecond {
			t.Errorf("the end: %q after %v", end, time.Since(begun))
		}
	})
}

// More pages than the bound are refused, also over several feeds, and a page that is closed makes
// room.
func TestStreamsAreBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		streams := NewStreams(2, make(chan struct{}))
		one, other := serve(t, NewFeed(streams, nil)), serve(t, NewFeed(streams, nil))
		first := open(t, one, "http://localhost")
		open(t, other, "http://localhost")
		refused, err := one.Get("http://localhost")
		if err != nil {
			t.Fatal(err)
		}
		refused.Body.Close()
		if refused.StatusCode != 503 || refused.Header.Get("Retry-After") == "" {
			t.Errorf("one too many: %d %v", refused.StatusCode, refused.Header)
		}
		first.body.Close()
		if synctest.Wait(); streams.Open() > 1 {
			t.Fatal("a closed page keeps its place")
		}
		open(t, one, "http://localhost")
	})
}

// A client that takes nothing does not hold up the others, nor the one that publishes.
func TestSlowPage(t *testing.T) {
	feed := NewFeed(NewStreams(2, make(chan struct{})), nil)
	s := httptest.NewServer(feed)
	defer s.Close()
	slow, err := net.Dial("tcp", strings.TrimPrefix(s.URL, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	defer slow.Close()
	io.WriteString(slow, "GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
	page := open(t, s.Client(), s.URL)
	defer page.body.Close()
	large := strings.Repeat("x", 1<<16)
	begun := time.Now()
	for i := range 200 { // 13 MB, more than the buffers of a connection
		feed.Publish("large", []byte(large+string(rune('a'+i%26))))
	}
	feed.Publish("last", []byte("1"))
	if took := time.Since(begun); took > 20*time.Second {
		t.Errorf("publishing took %v", took)
	}
	for page.next() != "last: 1" {
		if time.Since(begun) > time.Minute {
			t.Fatal("the page never gets the last event")
		}
	}
}

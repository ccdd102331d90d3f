package parts

import (
	"bytes"
	"cmp"
	"net/http"
	"slices"
	"sync"
	"sync/atomic"
	"time"
)

// Feed sends events to the pages that are open. An event replaces the one of the same name: a page
// that opens gets the newest of every name, and a page that is slow skips those between. So an
// event tells the whole state of what it is named after. The text of an event is made once for all
// pages, and a page costs its connection alone. All methods may be called from any goroutine.
type Feed struct {
	streams *Streams
	opened  func()
	pages   atomic.Int64

	mu      sync.Mutex
	newest  []event       // one of each name
	last    uint64        // number of the newest event
	changed chan struct{} // closed at the next event
}

// event is an event as it is sent.
type event struct {
	name   string
	number uint64 // counts up over all events of a feed
	text   []byte
}

// NewFeed returns a feed within a server's bound. opened is called when a page opens it, before it
// gets the newest events, so that they can be brought up to date; it may be nil.
func NewFeed(within *Streams, opened func()) *Feed {
	return &Feed{streams: within, opened: opened, changed: make(chan struct{})}
}

// Publish sends data, such as one JSON value, to every page as the newest event of a name. If data
// is the same as in the newest one, nothing is sent.
func (f *Feed) Publish(name string, data []byte) {
	e := event{name: name, text: eventText(name, data)}
	f.mu.Lock()
	defer f.mu.Unlock()
	at := slices.IndexFunc(f.newest, func(x event) bool { return x.name == name })
	if at >= 0 && bytes.Equal(f.newest[at].text, e.text) {
		return
	}
	f.last++
	e.number = f.last
	if at < 0 {
		f.newest = append(f.newest, e)
	} else {
		f.newest[at] = e
	}
	close(f.changed)
	f.changed = make(chan struct{})
}

// eventText returns an event as it is sent; each line of data is a field of its own.
func eventText(name string, data []byte) []byte {
	var b bytes.Buffer
	b.WriteString("event: " + name + "\n")
	for line := range bytes.Lines(data) {
		b.WriteString("data: ")
		b.Write(bytes.TrimRight(line, "\r\n"))
		b.WriteByte('\n')
	}
	b.WriteByte('\n')
	return b.Bytes()
}

// Pages returns the number of pages that are open; without one there is no need to publish.
func (f *Feed) Pages() int { return int(f.pages.Load()) }

// after returns the events later than a number in their order, the number of the newest one, and
// what is closed at the next one.
func (f *Feed) after(number uint64) (texts [][]byte, last uint64, changed <-chan struct{}) {
	f.mu.Lock()
	defer f.mu.Unlock()
	var later []event
	for _, e := range f.newest {
		if e.number > number {
			later = append(later, e)
		}
	}
	slices.SortFunc(later, func(a, b event) int { return cmp.Compare(a.number, b.number) })
	for _, e := range later {
		texts = append(texts, e.text)
	}
	return texts, f.last, f.changed
}

// ServeHTTP holds the response and sends events until the page is closed or the server ends. A
// page that finds too many others open gets the status 503 and may ask again later.
func (f *Feed) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if !f.streams.take() {
		w.Header().Set("Retry-After", "15")
		http.Error(w, "too many pages are open; this one is brought up to date when it is loaded again", http.StatusServiceUnavailable)
		return
	}
	defer f.streams.free()
	f.pages.Add(1)
	defer f.pages.Add(-1)
	if f.opened != nil {
		f.opened()
	}
	to, err := newSender(w)
	if err != nil {
		return // the client is gone
	}
	beats := time.NewTicker(beat)
	defer beats.Stop()
	alive := eventText("beat", []byte("1"))
	if to.send(alive) != nil {
		return
	}
	var seen uint64
	for {
		texts, last, changed := f.after(seen)
		if len(texts) > 0 && to.send(texts...) != nil {
			return
		}
		seen = last
		select {
		case <-changed:
		case <-beats.C:
			if to.send(alive) != nil {
				return
			}
		case <-r.Context().Done():
			return
		case <-f.streams.done:
			_ = to.send(eventText("end", []byte("1"))) // the page then need not wait to see that the server is gone
			return
		}
	}
}

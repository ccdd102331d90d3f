package parts

import (
	"net/http"
	"sync/atomic"
	"time"
)

// Streams bounds the responses of one server that are held for events. All its feeds share it.
type Streams struct {
	max  int64
	done <-chan struct{}
	open atomic.Int64
}

// NewStreams returns the bound of a server: at most max responses are held at once, and all end
// when done is closed.
func NewStreams(max int, done <-chan struct{}) *Streams { return &Streams{max: int64(max), done: done} }

// Open returns the number of responses that are held now.
func (s *Streams) Open() int { return int(s.open.Load()) }

// take reports whether one more response may be held; if so, free must be called at its end.
func (s *Streams) take() bool {
	if s.open.Add(1) > s.max {
		s.open.Add(-1)
		return false
	}
	return true
}

func (s *Streams) free() { s.open.Add(-1) }

const (
	// beat is the longest time between two events. stream.js takes a server that has been silent
	// for three beats as gone.
	beat = 5 * time.Second
	// sendTimeout is the time that a client has to take an event. It bounds how long a client that
	// vanished without a word holds its place.
	sendTimeout = 10 * time.Second
)

// sender writes events to one client.
type sender struct {
	w       http.ResponseWriter
	control *http.ResponseController
}

// newSender begins a response of events (HTML Living Standard, section 9.2, Server-sent events).
// It lifts the server's time-out of reading, which would end the request's context while the
// response is held; send sets that of writing for each event. The error is that of a connection
// that knows no time-outs, or is closed.
func newSender(w http.ResponseWriter) (sender, error) {
	s := sender{w, http.NewResponseController(w)}
	if err := s.control.SetReadDeadline(time.Time{}); err != nil {
		return s, err
	}
	header := w.Header()
	header.Set("Content-Type", "text/event-stream")
	header.Set("Cache-Control", "no-store")
	header.Set("X-Accel-Buffering", "no") // a proxy in between hands on each event at once
	w.WriteHeader(http.StatusOK)
	return s, nil
}

// send writes whole events, within the time that a client has.
func (s sender) send(events ...[]byte) error {
	if err := s.control.SetWriteDeadline(time.Now().Add(sendTimeout)); err != nil {
		return err
	}
	for _, e := range events {
		if _, err := s.w.Write(e); err != nil {
			return err
		}
	}
	return s.control.Flush()
}

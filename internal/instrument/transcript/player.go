package transcript

import (
	"io"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"time"
)

// Player replays a transcript as the program's end of a serial line. It sends the recorded answer
// of a query when the same query is written. Recorded queries that are not written are skipped.
type Player struct {
	// Paced keeps the recorded times between entries.
	Paced bool
	// Quiet keeps the line open after the last entry; otherwise it ends there.
	Quiet bool

	mu      sync.Mutex
	entries []Entry
	at      int    // the next entry
	unread  string // of an entry that did not fit into the reader's buffer
	unsent  string // by the program, not yet a whole message
	changed chan struct{}
	last    time.Time // of the entry that was said last
	begun   time.Time // when that was said, by the system's clock

	now    atomic.Pointer[time.Time]
	closed chan struct{}
	once   sync.Once
}

// Play returns a player at the start of a transcript.
func Play(t *Transcript) *Player {
	p := &Player{changed: make(chan struct{}, 1), closed: make(chan struct{})}
	for _, e := range t.Entries {
		if e.Mark != Piece {
			p.entries = append(p.entries, e)
		}
	}
	begun := t.Begun
	p.now.Store(&begun)
	return p
}

// Clock returns the recorded time of the last entry played.
func (p *Player) Clock() time.Time { return *p.now.Load() }

// Read returns the bytes of one entry of the device at a time.
func (p *Player) Read(buffer []byte) (int, error) {
	if len(buffer) == 0 {
		return 0, nil
	}
	for {
		n, wait, over := p.take(buffer)
		switch {
		case n > 0:
			return n, nil
		case over && !p.Quiet:
			return 0, io.EOF
		}
		if err := p.pause(wait); err != nil {
			return 0, err
		}
	}
}

// take copies the bytes that are due; otherwise it returns how long to wait (0: until the
// program writes), or that the transcript has ended.
func (p *Player) take(buffer []byte) (n int, wait time.Duration, over bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.unread == "" {
		if p.at == len(p.entries) {
			return 0, 0, true
		}
		e := p.entries[p.at]
		if e.Mark == Sent {
			return 0, 0, false
		}
		if wait = p.due(e); wait > 0 {
			return 0, wait, false
		}
		p.pass(e)
		p.unread = e.Bytes
	}
	n = copy(buffer, p.unread)
	p.unread = p.unread[n:]
	return n, 0, false
}

// due returns how long to wait for an entry.
func (p *Player) due(e Entry) time.Duration {
	if !p.Paced || p.last.IsZero() {
		return 0
	}
	return e.Time.Sub(p.last) - time.Since(p.begun)
}

// pass moves to the next entry.
func (p *Player) pass(e Entry) {
	p.at++
	p.last, p.begun = e.Time, time.Now()
	p.now.Store(&e.Time)
}

// pause waits for a time, or until the program writes.
func (p *Player) pause(d time.Duration) error {
	var over <-chan time.Time
	if d > 0 {
		timer := time.NewTimer(d)
		defer timer.Stop()
		over = timer.C
	}
	select {
	case <-over:
	case <-p.changed:
	case <-p.closed:
		return os.ErrClosed
	}
	return nil
}

// Write receives messages of the program. A message that is not in the rest of the transcript gets
// no answer.
func (p *Player) Write(data []byte) (int, error) {
	select {
	case <-p.closed:
		return 0, os.ErrClosed
	default:
	}
	p.mu.Lock()
	p.unsent += string(data)
	for {
		message, after, whole := cutMessage(p.unsent)
		if !whole {
			break
		}
		p.unsent = after
		p.seek(message)
	}
	p.mu.Unlock()
	select {
	case p.changed <- struct{}{}:
	default:
	}
	return len(data), nil
}

// cutMessage splits off the first message, without its end.
func cutMessage(s string) (message, after string, whole bool) {
	i := strings.IndexAny(s, "\r\n")
	if i < 0 {
		return "", s, false
	}
	return s[:i], strings.TrimLeft(s[i:], "\r\n"), true
}

// seek moves after the next entry with the same message of the program.
func (p *Player) seek(message string) {
	for i := p.at; i < len(p.entries); i++ {
		if e := p.entries[i]; e.Mark == Sent && strings.TrimRight(e.Bytes, "\r\n") == message {
			p.at, p.unread = i, ""
			p.pass(e)
			return
		}
	}
	p.unread = "" // what comes now would answer something else
	for p.at < len(p.entries) && p.entries[p.at].Mark != Sent {
		p.at++
	}
}

// Close ends the wire.
func (p *Player) Close() error {
	p.once.Do(func() { close(p.closed) })
	return nil
}

package mqtt

import (
	"context"
	"sync"
	"time"

	"github.com/eclipse/paho.golang/packets"
	"github.com/eclipse/paho.golang/paho"
	"github.com/eclipse/paho.golang/paho/session"
)

// unsent holds the identifiers of packets whose acknowledgement the library has not sent yet. Its lock is
// never held during a call of the library.
type unsent struct {
	mu  sync.Mutex
	ids map[uint16]bool
}

func (u *unsent) add(id uint16) {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.ids == nil {
		u.ids = map[uint16]bool{}
	}
	u.ids[id] = true
}

func (u *unsent) remove(id uint16) {
	u.mu.Lock()
	defer u.mu.Unlock()
	delete(u.ids, id)
}

// clear removes all: the connection that they belong to was lost.
func (u *unsent) clear() {
	u.mu.Lock()
	defer u.mu.Unlock()
	clear(u.ids)
}

func (u *unsent) isEmpty() bool {
	u.mu.Lock()
	defer u.mu.Unlock()
	return len(u.ids) == 0
}

// notedSession is the library's session, which removes from unsent what it has acknowledged.
type notedSession struct {
	session.SessionManager
	unsent *unsent
}

// Ack sends an acknowledgement.
func (s notedSession) Ack(p *packets.Publish) error {
	defer s.unsent.remove(p.PacketID)
	return s.SessionManager.Ack(p)
}

// awaitSent waits until the library has sent all acknowledgements, for at most sendTimeout: it sends them in the order
// of arrival, so that a message that could not be stored holds up those behind it. Without a connection it does not wait.
func (l *Link) awaitSent() {
	for begun := time.Now(); time.Since(begun) < sendTimeout && !l.unsent.isEmpty(); time.Sleep(ackInterval / 4) {
		if up, _ := l.Up(); !up {
			return
		}
	}
}

// awaitRead waits until the broker has read what was sent, for at most sendTimeout. A broker may drop what it has not read when
// the connection ends, and reads packets in their order: it is asked to end a subscription that it does not have, which
// changes nothing, and its answer (MQTT 5.0, 3.11.3: reason 0x11) comes after the acknowledgements.
func (l *Link) awaitRead() {
	if up, _ := l.Up(); !up {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), sendTimeout)
	defer cancel()
	_, _ = l.cm.Unsubscribe(ctx, &paho.Unsubscribe{Topics: []string{"ohmkeep/ends"}}) // without an answer it ends all the same
}

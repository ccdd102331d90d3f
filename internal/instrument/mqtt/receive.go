package mqtt

import (
	"bytes"
	"context"
	"slices"
	"sync"
	"time"

	"github.com/eclipse/paho.golang/paho"

	"ohmkeep/internal/run/topic"
)

// lateGap is the silence after which everything that waited at the broker has come.
const lateGap = 500 * time.Millisecond

// askAgainAfter is the time after which the broker is made to send what could not be stored.
const askAgainAfter = 10 * time.Second

// maxWaiting is the largest number of messages of QoS 0 that wait to be read.
const maxWaiting = 1024

// Message is a received message. Done has to be called once for each subscription that got it.
type Message struct {
	Topic    string
	Payload  []byte
	Arrived  time.Time // by the system's clock
	Retained bool      // the last value of its topic, of any age
	Late     bool      // it waited at the broker, or was sent before

	link    *Link
	client  *paho.Client  // of the connection on which it came last
	packet  *paho.Publish // as it came there
	waiting int           // subscriptions that are not done with it; guarded by link.mu
	kept    bool          // … none of which has lost it
}

// Subscription holds the received messages of one filter until they are read. It goes on while there
// is no connection.
type Subscription struct {
	link    *Link
	filter  string
	mu      sync.Mutex
	waiting []*Message
	closed  bool // the link does not want it any more
	arrived chan struct{}
}

func newSubscription(l *Link, filter string) *Subscription {
	return &Subscription{link: l, filter: filter, arrived: make(chan struct{}, 1)}
}

// Subscription returns that of a filter; nil: the link has none.
func (l *Link) Subscription(filter string) *Subscription {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.subs[filter]
}

// Next waits for a message. Without a connection the error wraps ErrDown, after all messages that came
// before.
func (s *Subscription) Next(ctx context.Context) (*Message, error) {
	for {
		s.mu.Lock()
		if len(s.waiting) > 0 {
			m := s.waiting[0]
			s.waiting = s.waiting[1:]
			s.mu.Unlock()
			return m, nil
		}
		s.mu.Unlock()
		s.link.mu.Lock()
		up, why, changed := s.link.up, s.link.why, s.link.changed
		s.link.mu.Unlock()
		if !up {
			return nil, why
		}
		select {
		case <-s.arrived:
		case <-changed:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

// Return gives back a message that was not read, as the next one.
func (s *Subscription) Return(m *Message) {
	s.mu.Lock()
	closed := s.closed
	if !closed {
		s.waiting = append([]*Message{m}, s.waiting...)
		s.wake()
	}
	s.mu.Unlock()
	if closed {
		m.Done(true)
	}
}

// close ends a subscription. Messages without a reader are done: the library acknowledges in the
// order of arrival, and they would hold up all others.
func (s *Subscription) close() {
	s.mu.Lock()
	s.closed = true
	unread := s.waiting
	s.waiting = nil
	s.mu.Unlock()
	for _, m := range unread {
		m.Done(true)
	}
}

// begin prepares for the messages of a new connection. Without a session the broker has forgotten
// what was not acknowledged.
func (l *Link) begin(session bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.made++
	l.unsent.clear()
	if !session {
		clear(l.unacked)
		l.acked = nil
	}
	if l.late = session; session {
		l.lateUntil = time.Now().Add(lateGap)
	}
}

// receive passes a message to the subscriptions that it fits. It is called by the library in the
// order of arrival.
func (l *Link) receive(r paho.PublishReceived) (bool, error) {
	now := time.Now()
	l.mu.Lock()
	defer l.mu.Unlock()
	p := r.Packet
	if before := l.unacked[p.PacketID]; p.Duplicate() && before != nil && before.Topic == p.Topic && bytes.Equal(before.Payload, p.Payload) {
		before.client, before.packet = r.Client, p
		if before.waiting == 0 {
			l.acknowledge(before)
		}
		return true, nil
	}
	if l.late && !l.lateUntil.IsZero() {
		l.late = now.Before(l.lateUntil)
		l.lateUntil = now.Add(lateGap)
	}
	m := &Message{Topic: p.Topic, Payload: p.Payload, Arrived: now, Retained: p.Retain, Late: l.late || p.Duplicate(), link: l, client: r.Client, packet: p, kept: true}
	var subs []*Subscription
	for filter, s := range l.subs {
		if _, fits := topic.Match(filter, p.Topic); fits {
			subs = append(subs, s)
		}
	}
	if p.QoS > 0 {
		l.unacked[p.PacketID] = m
	}
	if m.waiting = len(subs); m.waiting == 0 {
		l.unexpected++
		l.acknowledge(m)
		return true, nil
	}
	for _, s := range subs {
		if !s.put(m) {
			l.lost++
		}
	}
	return true, nil
}

// put hands a message to a subscription. It returns false where there is no room for one that
// the broker does not keep.
func (s *Subscription) put(m *Message) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if m.packet.QoS == 0 && len(s.waiting) >= maxWaiting {
		return false
	}
	s.waiting = append(s.waiting, m)
	s.wake()
	return true
}

// wake lets Next look again; s.mu is held.
func (s *Subscription) wake() {
	select {
	case s.arrived <- struct{}{}:
	default:
	}
}

// Done says what became of a message: kept is true if it is safe on disk, or never will be wanted.
// Otherwise the broker is made to send it again.
func (m *Message) Done(kept bool) {
	l := m.link
	l.mu.Lock()
	defer l.mu.Unlock()
	m.kept = m.kept && kept
	if m.waiting--; m.waiting > 0 {
		return
	}
	if m.kept {
		l.acknowledge(m)
		return
	}
	if l.unacked[m.packet.PacketID] == m {
		delete(l.unacked, m.packet.PacketID)
	}
	if l.again == nil {
		l.again = time.AfterFunc(askAgainAfter, l.askAgain)
	}
}

// acknowledge lets the library acknowledge a message; l.mu is held. On a connection that was lost
// meanwhile it fails, and the broker sends the message again.
func (l *Link) acknowledge(m *Message) {
	if m.packet.QoS == 0 {
		return
	}
	l.unsent.add(m.packet.PacketID)
	if err := m.client.Ack(m.packet); err != nil {
		l.unsent.remove(m.packet.PacketID)
	}
	if l.unacked[m.packet.PacketID] != m || slices.Contains(l.acked, m) {
		return
	}
	// It is not known whether the acknowledgement arrives: the broker may send once more what it has not
	// heard of, which is never more than receiveMaximum.
	if l.acked = append(l.acked, m); len(l.acked) > receiveMaximum {
		old := l.acked[0]
		if l.unacked[old.packet.PacketID] == old {
			delete(l.unacked, old.packet.PacketID)
		}
		l.acked = l.acked[1:]
	}
}

// askAgain ends the connection. The next one makes the broker send what was not acknowledged.
func (l *Link) askAgain() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.again = nil
	if l.conn != nil {
		_ = l.conn.Close()
	}
}

package mqtt

import (
	"context"
	"errors"
	"fmt"
	"net"
	"testing"
	"testing/synctest"
	"time"

	"github.com/eclipse/paho.golang/packets"
	"github.com/eclipse/paho.golang/paho"
)

// unconnected returns a link that is not dialled, whose messages the test makes.
func unconnected(filters ...string) *Link {
	l := &Link{why: ErrDown, changed: make(chan struct{}), subs: map[string]*Subscription{}, unacked: map[uint16]*Message{}, late: true}
	for _, f := range filters {
		l.subs[f] = newSubscription(l, f)
	}
	return l
}

// deliver gives a link a message as the library does.
func (l *Link) deliver(t *testing.T, id uint16, topic, payload string, duplicate, retained bool) {
	t.Helper()
	p := paho.PublishFromPacketPublish(&packets.Publish{PacketID: id, QoS: 1, Topic: topic, Payload: []byte(payload), Duplicate: duplicate, Retain: retained, Properties: &packets.Properties{}})
	if _, err := l.receive(paho.PublishReceived{Packet: p, Client: &paho.Client{}}); err != nil {
		t.Fatal(err)
	}
}

// read returns what waits in a subscription.
func (s *Subscription) read(t *testing.T) (all []*Message) {
	t.Helper()
	for {
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Millisecond)
		m, err := s.Next(ctx)
		cancel()
		if err != nil {
			return all
		}
		all = append(all, m)
	}
}

func payloads(all []*Message) string {
	text := ""
	for _, m := range all {
		text += string(m.Payload)
		if m.Late {
			text += "~"
		}
		text += " "
	}
	return text
}

// What the broker sends again in one life of the program is delivered once, whether it is stored by then or not;
// a new message with the same identifier is delivered.
func TestSentAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := unconnected("a")
		l.begin(false)
		l.deliver(t, 1, "a", "one", false, false)
		l.deliver(t, 2, "a", "two", false, false)
		first := l.subs["a"].read(t)
		if payloads(first) != "one two " {
			t.Fatalf("%s", payloads(first))
		}
		first[0].Done(true)
		l.begin(true) // connected again: neither acknowledgement has arrived
		l.deliver(t, 1, "a", "one", true, false)
		l.deliver(t, 2, "a", "two", true, false)
		l.deliver(t, 3, "a", "three", false, false) // waited there
		if got := payloads(l.subs["a"].read(t)); got != "three~ " {
			t.Errorf("delivered again: %s", got)
		}
		first[1].Done(true)
		time.Sleep(lateGap + 50*time.Millisecond)
		l.deliver(t, 1, "a", "four", false, false)
		l.deliver(t, 2, "a", "five", true, false) // sent before, to an earlier life of the program
		if got := payloads(l.subs["a"].read(t)); got != "four five~ " {
			t.Errorf("afterwards: %s", got)
		}
		l.begin(false) // the broker has lost the session: the same identifier is another message
		l.deliver(t, 1, "a", "four", true, false)
		if got := payloads(l.subs["a"].read(t)); got != "four~ " {
			t.Errorf("without the session: %s", got)
		}
	})
}

// The memory of what was acknowledged is bounded.
func TestAcknowledgedIsBounded(t *testing.T) {
	l := unconnected("a")
	l.begin(false)
	for id := range uint16(5000) {
		l.deliver(t, id+1, "a", fmt.Sprint(id), false, false)
		for _, m := range l.subs["a"].waiting {
			m.Done(true)
		}
		l.subs["a"].waiting = nil
	}
	if len(l.unacked) > receiveMaximum || len(l.acked) > receiveMaximum {
		t.Errorf("%d and %d are kept", len(l.unacked), len(l.acked))
	}
}

// A message of two subscriptions is done when both are; one that was lost is asked for again, by a new
// connection, and then delivered again.
func TestLostIsAskedForAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := unconnected("a/+", "a/b", "c")
		l.begin(false)
		mine, other := net.Pipe()
		defer other.Close()
		l.conn = mine
		l.deliver(t, 1, "a/b", "x", false, false)
		l.deliver(t, 2, "d", "y", false, false)
		if unexpected, _ := l.Counts(); unexpected != 1 || len(l.acked) != 1 {
			t.Errorf("%d unexpected, %d acknowledged", unexpected, len(l.acked))
		}
		m, n := l.subs["a/+"].read(t), l.subs["a/b"].read(t)
		if len(m) != 1 || len(n) != 1 || m[0] != n[0] {
			t.Fatalf("%v %v", m, n)
		}
		m[0].Done(false)
		n[0].Done(true)
		if l.again == nil || l.unacked[1] != nil || len(l.acked) != 1 {
			t.Fatal("the lost message is acknowledged")
		}
		l.again.Stop()
		l.askAgain()
		if _, err := other.Read(make([]byte, 1)); err == nil {
			t.Error("the connection goes on")
		}
		l.begin(true)
		l.deliver(t, 1, "a/b", "x", true, false)
		if got := payloads(l.subs["a/b"].read(t)); got != "x~ " {
			t.Errorf("%s", got)
		}
	})
}

func TestRetainedIsSaid(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := unconnected("a")
		l.begin(false)
		l.deliver(t, 1, "a", "x", false, true)
		if all := l.subs["a"].read(t); len(all) != 1 || !all[0].Retained {
			t.Errorf("%+v", all)
		}
		if _, err := l.subs["a"].Next(t.Context()); !errors.Is(err, ErrDown) {
			t.Errorf("without a connection: %v", err)
		}
	})
}

// A filter that is given up holds up no acknowledgement: what no reader will get is done, also what a reader
// gives back.
func TestGivenUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := unconnected("a", "b")
		l.begin(false)
		l.deliver(t, 1, "a", "x", false, false)
		l.deliver(t, 2, "a", "y", false, false)
		l.deliver(t, 3, "b", "z", false, false)
		s := l.subs["a"]
		m, err := s.Next(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		s.Return(m)
		if got := payloads(s.read(t)); got != "x y " {
			t.Fatalf("%s", got)
		}
		l.deliver(t, 4, "a", "u", false, false)
		if err := l.Use([]string{"b", "c"}); err != nil || l.Subscription("a") != nil || l.Subscription("c") == nil {
			t.Fatalf("%v", err)
		}
		s.Return(m)
		acked := ""
		for _, m := range l.acked {
			acked += string(m.Payload)
		}
		if acked != "ux" || len(l.subs["b"].waiting) != 1 {
			t.Errorf("acknowledged %s", acked)
		}
	})
}

// A message that one reader gives back reaches another one that already waits.
func TestReturned(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := unconnected("a")
		l.begin(false)
		l.up = true
		s := l.subs["a"]
		l.deliver(t, 1, "a", "one", false, false)
		first, err := s.Next(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
		defer cancel()
		got := make(chan error, 1)
		go func() { _, err := s.Next(ctx); got <- err }()
		synctest.Wait() // it waits
		s.Return(first)
		if err := <-got; err != nil {
			t.Error("the reader is not woken: ", err)
		}
	})
}

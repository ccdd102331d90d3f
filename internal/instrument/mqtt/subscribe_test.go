package mqtt

import (
	"context"
	"slices"
	"testing"

	"github.com/eclipse/paho.golang/paho"
)

// accepting is a broker that takes every subscription. During the first one the run file is read again.
type accepting struct {
	link   *Link
	topics []string
}

func (a *accepting) Subscribe(_ context.Context, s *paho.Subscribe) (*paho.Suback, error) {
	first := len(a.topics) == 0
	for _, x := range s.Subscriptions {
		a.topics = append(a.topics, x.Topic)
	}
	if first {
		return &paho.Suback{}, a.link.Use([]string{"west", "north"})
	}
	return &paho.Suback{}, nil
}

// A topic that a new run file adds while a connection is being made is subscribed to on that connection.
func TestUseWhileConnecting(t *testing.T) {
	l := unconnected("west")
	a := &accepting{link: l}
	l.begun(a)
	if up, why := l.Up(); !up || !slices.Equal(a.topics, []string{"west", "north"}) {
		t.Errorf("subscribed to %q; up %v %v", a.topics, up, why)
	}
}

package mqtt

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/eclipse/paho.golang/paho"
)

// subscriber sends a subscription and returns its acknowledgement.
type subscriber interface {
	Subscribe(context.Context, *paho.Subscribe) (*paho.Suback, error)
}

// begun subscribes to everything that is received, and then notes that there is a connection. What Use
// has added before it knew of the connection is subscribed to afterwards.
func (l *Link) begun(by subscriber) {
	made := map[string]bool{}
	err := l.subscribe(by, made)
	if err == nil {
		l.change(true, nil)
		err = l.subscribe(by, made)
	}
	if err != nil {
		l.change(false, err)
	}
}

// subscribe subscribes to the filters that are not in made, and notes them there.
func (l *Link) subscribe(by subscriber, made map[string]bool) error {
	l.mu.Lock()
	var all []paho.SubscribeOptions
	for f := range l.subs {
		if !made[f] {
			made[f] = true
			all = append(all, l.subscribeTo(f))
		}
	}
	l.mu.Unlock()
	if len(all) == 0 {
		return nil
	}
	ctx, cancel := context.WithTimeout(context.Background(), packetTimeout)
	defer cancel()
	answer, err := by.Subscribe(ctx, &paho.Subscribe{Subscriptions: all})
	if answer != nil {
		for i, reason := range answer.Reasons {
			if reason >= 0x80 && i < len(all) {
				return fmt.Errorf("%w: it refuses the subscription to %s, reason %d", ErrDown, all[i].Topic, reason)
			}
		}
	}
	if err != nil {
		return fmt.Errorf("%w: subscribe: %w", ErrDown, err)
	}
	return nil
}

// subscribeTo asks for new messages of a filter only: what the broker keeps of a topic may be of any age.
func (l *Link) subscribeTo(filter string) paho.SubscribeOptions {
	s := paho.SubscribeOptions{Topic: filter, QoS: 1, RetainHandling: 2}
	if l.o.Temporary {
		s.QoS = 0
	}
	return s
}

// Use changes the filters of what is received. Those that stay miss no message.
func (l *Link) Use(filters []string) error {
	l.mu.Lock()
	var more []paho.SubscribeOptions
	var fewer []string
	var closing []*Subscription
	for _, f := range filters {
		if l.subs[f] == nil {
			l.subs[f] = newSubscription(l, f)
			more = append(more, l.subscribeTo(f))
		}
	}
	for f, s := range l.subs {
		if !slices.Contains(filters, f) {
			closing = append(closing, s)
			delete(l.subs, f)
			fewer = append(fewer, f)
		}
	}
	up := l.up
	l.mu.Unlock()
	for _, s := range closing {
		s.close()
	}
	if !up {
		return nil // the next connection subscribes to everything
	}
	ctx, cancel := context.WithTimeout(context.Background(), packetTimeout)
	defer cancel()
	var errs []error
	if len(more) > 0 {
		_, err := l.cm.Subscribe(ctx, &paho.Subscribe{Subscriptions: more})
		errs = append(errs, err)
	}
	if len(fewer) > 0 {
		_, err := l.cm.Unsubscribe(ctx, &paho.Unsubscribe{Topics: fewer})
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

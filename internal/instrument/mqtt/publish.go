package mqtt

import (
	"context"
	"fmt"

	"github.com/eclipse/paho.golang/paho"
)

// Publish sends a retained message with QoS 1 and returns when the broker has acknowledged it.
func (l *Link) Publish(ctx context.Context, m Retained) error {
	if up, why := l.Up(); !up {
		return why
	}
	answer, err := l.cm.Publish(ctx, &paho.Publish{Topic: m.Topic, Payload: []byte(m.Payload), QoS: 1, Retain: true})
	switch {
	case answer != nil && answer.ReasonCode >= 0x80:
		return Refused{m.Topic, answer.ReasonCode}
	case err != nil:
		return fmt.Errorf("%w: publish: %w", ErrDown, err)
	}
	return nil
}

// Refused is the error of a message that the broker will never take.
type Refused struct {
	Topic  string
	Reason byte
}

func (r Refused) Error() string {
	if r.Reason == 0x87 {
		return fmt.Sprintf("the broker does not allow to publish %s", r.Topic)
	}
	return fmt.Sprintf("the broker refuses %s, reason %d", r.Topic, r.Reason)
}

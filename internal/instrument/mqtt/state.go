package mqtt

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/paho"
)

// change sets the state of the connection.
func (l *Link) change(up bool, why error) {
	l.mu.Lock()
	was, before := l.up, l.why
	if !up && !was && why == ErrDown {
		why = before // which says more
	}
	l.up, l.why = up, why
	changed := was != up || !up && before.Error() != why.Error()
	if changed {
		close(l.changed)
		l.changed = make(chan struct{})
	}
	l.mu.Unlock()
	if changed && l.o.Changed != nil {
		l.o.Changed(up, why)
	}
}

// connected subscribes after the connection was made.
func (l *Link) connected(cm *autopaho.ConnectionManager, ack *paho.Connack) {
	l.begin(ack.SessionPresent)
	go l.begun(cm) // the library wants this call to return
}

// down notes that the connection was lost. The library makes a new one.
func (l *Link) down() bool {
	l.change(false, ErrDown)
	l.mu.Lock()
	defer l.mu.Unlock()
	l.late, l.lateUntil = true, time.Time{}
	return true
}

// Up reports whether there is a connection, and otherwise why there is none.
func (l *Link) Up() (bool, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.up, l.why
}

// AwaitUp waits until there is a connection. The error says why there is none when ctx ends.
func (l *Link) AwaitUp(ctx context.Context) error {
	for {
		l.mu.Lock()
		up, why, changed := l.up, l.why, l.changed
		l.mu.Unlock()
		if up {
			return nil
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return why
		}
	}
}

// explain returns what a broker answers to an attempt to connect, in words.
func explain(err error) error {
	var refused *autopaho.ConnackError
	if errors.As(err, &refused) {
		if words := refusals[refused.ReasonCode]; words != "" {
			return fmt.Errorf("%w: it refuses: %s", ErrDown, words)
		}
		return fmt.Errorf("%w: it refuses, reason %d %s", ErrDown, refused.ReasonCode, refused.Reason)
	}
	if cause := errors.Unwrap(err); cause != nil { // without the library's words before it
		err = cause
	}
	return fmt.Errorf("%w: %w", ErrDown, err)
}

// refusals are reason codes of a CONNACK (MQTT 5.0, 3.2.2.2).
var refusals = map[byte]string{0x84: "it does not speak MQTT 5", 0x85: "it does not take the client's name", 0x86: "user or password is wrong", 0x87: "not authorised",
	0x88: "it is not available", 0x89: "it is busy", 0x8A: "the client is banned", 0x97: "a quota is used up", 0x9F: "too many connections a second"}

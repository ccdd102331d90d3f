package mqtt

import (
	"testing"
	"testing/synctest"
	"time"

	"github.com/eclipse/paho.golang/packets"
	"github.com/eclipse/paho.golang/paho/session/state"
)

// The end of a connection waits for an acknowledgement that a busy machine sends late; not without a connection, and not for one
// that is held up for good.
func TestAwaitSent(t *testing.T) {
	for name, c := range map[string]struct {
		up       bool
		sent     time.Duration // when the library sends it
		from, to time.Duration // that the wait lasts
	}{
		"late":          {true, 300 * time.Millisecond, 300 * time.Millisecond, 300*time.Millisecond + ackInterval},
		"held up":       {true, time.Hour, sendTimeout, sendTimeout + ackInterval},
		"no connection": {false, time.Hour, 0, 0},
		"at once":       {true, 0, 0, ackInterval},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				l := unconnected("a")
				l.up = c.up
				l.unsent.add(7)
				its := notedSession{state.NewInMemory(), &l.unsent}
				sent := make(chan struct{})
				go func() {
					defer close(sent)
					time.Sleep(c.sent)
					_ = its.Ack(&packets.Publish{PacketID: 7, QoS: 1}) // there is no line to send it on
				}()
				begun := time.Now()
				l.awaitSent()
				if took := time.Since(begun); took < c.from || took > c.to {
					t.Errorf("waited %v, want %v to %v", took, c.from, c.to)
				}
				<-sent
			})
		})
	}
}

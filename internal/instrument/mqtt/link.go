// Package mqtt connects to a broker of MQTT 5 (OASIS standard, MQTT Version 5.0, March 2019).
//
// A Link is one connection, which is made again without limit after it was lost. The session at the
// broker outlives it for a day: what boards publish with QoS 1 while the program is away waits
// there. A received message is acknowledged only when Message.Done says that it is safe on
// disk, so that a program that is killed gets it again. What the broker sends twice within one life of the
// program is delivered once.
//
// A message that the broker had kept as the last value of its topic (retained) is not sent at
// subscribing, and one that is nevertheless marked so is delivered as such. A message that waited
// at the broker is marked as late: when it was published is not known.
//
// The protocol is that of github.com/eclipse/paho.golang.
package mqtt

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/url"
	"slices"
	"sync"
	"time"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/packets"
	"github.com/eclipse/paho.golang/paho"

	"ohmkeep/internal/run"
)

// ErrDown is wrapped by errors that mean that there is no connection to the broker.
var ErrDown = errors.New("no connection to the broker")

const (
	connectTimeout = 5 * time.Second
	keepAlive      = 20 // s; a broker that vanishes without a word is noticed within one and a half of it
	sessionExpiry  = 24 * 3600
	ackInterval    = 20 * time.Millisecond
	longestPause   = 5 * time.Second // between two tries to connect
	withWill       = 4               // reason code of a DISCONNECT after which the broker publishes the will (MQTT 5.0, 3.14.2.1)
	packetTimeout  = 5 * time.Second
	// receiveMaximum is the largest number of messages that wait to be acknowledged. A broker may send
	// fewer at a time.
	receiveMaximum = 256
)

// Options are how a broker is reached, and what is received from it.
type Options struct {
	run.Broker
	Dir     string   // the run file's folder; paths of files are relative to it
	Filters []string // of topics that are received
	// Temporary makes a session that ends with the connection and takes nothing from another
	// program of the same client name.
	Temporary bool
	Will      *Retained                // published by the broker when the connection is lost; nil: nothing is
	Changed   func(up bool, why error) // called after each change of the connection; may be nil
}

// Retained is a message that the broker keeps as the last of its topic.
type Retained struct{ Topic, Payload string }

// Link is a connection to a broker. Its methods may be called from any goroutine.
type Link struct {
	o    Options
	cm   *autopaho.ConnectionManager
	stop context.CancelFunc

	mu         sync.Mutex
	up         bool // connected and subscribed
	why        error
	changed    chan struct{} // closed and replaced at each change
	subs       map[string]*Subscription
	unacked    map[uint16]*Message // received and not yet acknowledged, by packet identifier
	acked      []*Message          // the newest of them that were acknowledged; see acknowledge
	late       bool                // what comes now has waited at the broker …
	lateUntil  time.Time           // … until nothing came until then; zero: not known yet
	again      *time.Timer         // ends the connection; the next one makes the broker send again; nil: not needed
	conn       net.Conn            // of the newest connection
	unexpected uint64              // messages of topics that nothing subscribes to
	lost       uint64              // messages of QoS 0 for which there was no room
}

// Dial begins to connect to a broker. The error is one of the options; a broker that is not there is
// none. Close has to be called in the end.
func Dial(o Options) (*Link, error) {
	address, err := url.Parse(o.URL)
	if err != nil {
		return nil, err
	}
	if address.Port() == "" {
		address.Host += map[string]string{"mqtt": ":1883", "mqtts": ":8883"}[address.Scheme]
	}
	l := &Link{o: o, why: ErrDown, changed: make(chan struct{}), subs: map[string]*Subscription{}, unacked: map[uint16]*Message{}, late: true}
	for _, f := range o.Filters {
		l.subs[f] = newSubscription(l, f)
	}
	c := autopaho.ClientConfig{
		ServerUrls: []*url.URL{address}, KeepAlive: keepAlive, ConnectTimeout: connectTimeout, ReconnectBackoff: pause,
		SessionExpiryInterval: sessionExpiry,
		OnConnectionUp:        l.connected, OnConnectionDown: l.down, OnConnectError: func(err error) { l.change(false, explain(err)) },
		ConnectUsername:         o.User,
		DisconnectPacketBuilder: func() *paho.Disconnect { return &paho.Disconnect{ReasonCode: withWill} },
		ClientConfig: paho.ClientConfig{ClientID: o.Client, EnableManualAcknowledgment: true, SendAcksInterval: ackInterval, PacketTimeout: packetTimeout,
			OnPublishReceived: []func(paho.PublishReceived) (bool, error){l.receive},
			OnServerDisconnect: func(d *paho.Disconnect) {
				l.change(false, fmt.Errorf("%w: it ended it, reason %d", ErrDown, d.ReasonCode))
			},
			OnClientError: func(err error) { l.change(false, fmt.Errorf("%w: %w", ErrDown, err)) }},
	}
	if o.Temporary {
		c.ClientID, c.SessionExpiryInterval, c.CleanStartOnInitialConnection = "", 0, true
	}
	if c.ConnectPassword, err = o.password(); err != nil {
		return nil, err
	}
	secure, err := o.tls(address.Hostname())
	if err != nil {
		return nil, err
	}
	c.AttemptConnection = func(ctx context.Context, _ autopaho.ClientConfig, _ *url.URL) (net.Conn, error) {
		return l.dial(ctx, address, secure)
	}
	c.ConnectPacketBuilder = func(p *paho.Connect, _ *url.URL) (*paho.Connect, error) {
		if p.Properties == nil {
			p.Properties = &paho.ConnectProperties{}
		}
		most := uint16(receiveMaximum)
		p.Properties.ReceiveMaximum = &most
		return p, nil
	}
	if o.Will != nil {
		c.WillMessage = &paho.WillMessage{Topic: o.Will.Topic, Payload: []byte(o.Will.Payload), QoS: 1, Retain: true}
	}
	ctx, stop := context.WithCancel(context.Background())
	l.stop = stop
	if l.cm, err = autopaho.NewConnection(ctx, c); err != nil {
		stop()
		return nil, err
	}
	return l, nil
}

// dial makes the connection that the protocol runs on.
func (l *Link) dial(ctx context.Context, address *url.URL, secure *tls.Config) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, connectTimeout)
	defer cancel()
	var conn net.Conn
	var err error
	if address.Scheme == "mqtts" {
		conn, err = (&tls.Dialer{Config: secure}).DialContext(ctx, "tcp", address.Host)
	} else {
		conn, err = (&net.Dialer{}).DialContext(ctx, "tcp", address.Host)
	}
	if err != nil {
		return nil, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.conn = conn
	return packets.NewThreadSafeConn(conn), nil
}

// pause returns the time before a try to connect.
func pause(try int) time.Duration {
	if try == 0 {
		return 0
	}
	return min(100*time.Millisecond<<min(try, 10), longestPause)
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
	go func() { // the library wants this call to return
		if err := l.subscribe(cm); err != nil {
			l.change(false, err)
			return
		}
		l.change(true, nil)
	}()
}

// subscribe subscribes to everything that is received.
func (l *Link) subscribe(cm *autopaho.ConnectionManager) error {
	l.mu.Lock()
	var all []paho.SubscribeOptions
	for f := range l.subs {
		all = append(all, l.subscribeTo(f))
	}
	l.mu.Unlock()
	if len(all) == 0 {
		return nil
	}
	ctx, cancel := context.WithTimeout(context.Background(), packetTimeout)
	defer cancel()
	answer, err := cm.Subscribe(ctx, &paho.Subscribe{Subscriptions: all})
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

// down notes that the connection was lost. The library makes a new one.
func (l *Link) down() bool {
	l.change(false, ErrDown)
	l.mu.Lock()
	defer l.mu.Unlock()
	l.late, l.lateUntil = true, time.Time{}
	return true
}

// Broker returns how the broker is reached.
func (l *Link) Broker() run.Broker { return l.o.Broker }

// Counts returns how many messages came that no subscription takes, and how many of QoS 0 were lost because
// there was no room.
func (l *Link) Counts() (unexpected, lost uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.unexpected, l.lost
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

// Close sends what is still to be acknowledged and ends the connection.
func (l *Link) Close() {
	if up, _ := l.Up(); up {
		time.Sleep(3 * ackInterval) // the library sends acknowledgements once in an interval
	}
	l.stop()
	select {
	case <-l.cm.Done():
	case <-time.After(200 * time.Millisecond):
	}
}

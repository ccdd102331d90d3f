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
	"sync"
	"time"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/packets"
	"github.com/eclipse/paho.golang/paho"
	"github.com/eclipse/paho.golang/paho/session/state"

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
	sendTimeout    = time.Second // of the last acknowledgements, and of the broker's answer after them
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
	made       uint64              // connections
	unexpected uint64              // messages of topics that nothing subscribes to
	lost       uint64              // messages of QoS 0 for which there was no room

	unsent unsent // acknowledgements; has a lock of its own
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
			Session:           notedSession{state.NewInMemory(), &l.unsent},
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

// Broker returns how the broker is reached.
func (l *Link) Broker() run.Broker { return l.o.Broker }

// Connections returns how many connections were made.
func (l *Link) Connections() uint64 {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.made
}

// Counts returns how many messages came that no subscription takes, and how many of QoS 0 were lost because
// there was no room.
func (l *Link) Counts() (unexpected, lost uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.unexpected, l.lost
}

// Close sends what is still to be acknowledged and ends the connection.
func (l *Link) Close() {
	l.awaitSent()
	l.awaitRead()
	l.stop()
	select {
	case <-l.cm.Done():
	case <-time.After(200 * time.Millisecond):
	}
}

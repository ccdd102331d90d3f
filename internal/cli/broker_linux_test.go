package cli

import (
	"context"
	"flag"
	"fmt"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/paho"
)

var brokers = flag.Bool("broker", false, "the watch receives from and publishes at a mosquitto")

// mosquitto is a broker that is not ours.
type mosquitto struct {
	session
	port    string
	config  string
	program *exec.Cmd
}

// startBroker starts a broker on loopback; more is added to its configuration. Its session and messages are
// written to disk after every change.
func (s session) startBroker(more string) *mosquitto {
	s.Helper()
	if !*brokers {
		s.Skip("without -broker")
	}
	if _, err := exec.LookPath("mosquitto"); err != nil {
		s.Skip("there is no mosquitto: ", err)
	}
	dir := s.TempDir()
	_, port, _ := net.SplitHostPort(s.freeAddress())
	b := &mosquitto{session: s, port: port, config: filepath.Join(dir, "mosquitto.conf")}
	if os.Getuid() == 0 {
		more += "\nuser root" // the folder is this user's
	}
	if !strings.Contains(more, "allow_anonymous") {
		more += "\nallow_anonymous true"
	}
	more = strings.ReplaceAll(more, "DIR", dir)
	s.write(b.config, fmt.Sprintf("listener %s 127.0.0.1\npersistence true\npersistence_location %s/\nautosave_on_changes true\nautosave_interval 1\n%s\n", port, dir, more))
	b.start()
	s.Cleanup(b.kill)
	return b
}

func (b *mosquitto) start() {
	b.Helper()
	b.program = exec.Command("mosquitto", "-c", b.config)
	log, err := os.Create(b.config + ".log")
	if err != nil {
		b.Fatal(err)
	}
	defer log.Close()
	b.program.Stdout, b.program.Stderr = log, log
	if err := b.program.Start(); err != nil {
		b.Fatal(err)
	}
	for begun := time.Now(); ; time.Sleep(5 * time.Millisecond) {
		conn, err := net.Dial("tcp", "127.0.0.1:"+b.port)
		if err == nil {
			_ = conn.Close()
			return
		}
		if time.Since(begun) > 10*time.Second {
			text, _ := os.ReadFile(b.config + ".log")
			b.Fatalf("%v\n%s", err, text)
		}
	}
}

// kill ends the broker as SIGKILL does.
func (b *mosquitto) kill() {
	_ = b.program.Process.Kill()
	_ = b.program.Wait()
}

// peer is another client of the broker: a board, or who reads what the watch publishes.
type peer struct {
	t  *testing.T
	cm *autopaho.ConnectionManager

	mu       sync.Mutex
	received []*paho.Publish
}

// connect connects another client. It subscribes to filters.
func (b *mosquitto) connect(user, password string, filters ...string) *peer {
	b.Helper()
	p := &peer{t: b.T}
	broker, _ := url.Parse("mqtt://127.0.0.1:" + b.port)
	c := autopaho.ClientConfig{ServerUrls: []*url.URL{broker}, KeepAlive: 20, CleanStartOnInitialConnection: true, ConnectUsername: user, ConnectPassword: []byte(password),
		ReconnectBackoff: func(int) time.Duration { return 50 * time.Millisecond },
		OnConnectionUp: func(cm *autopaho.ConnectionManager, _ *paho.Connack) {
			for _, f := range filters {
				go func() {
					_, _ = cm.Subscribe(context.Background(), &paho.Subscribe{Subscriptions: []paho.SubscribeOptions{{Topic: f, QoS: 1}}})
				}()
			}
		},
		ClientConfig: paho.ClientConfig{OnPublishReceived: []func(paho.PublishReceived) (bool, error){func(r paho.PublishReceived) (bool, error) {
			p.mu.Lock()
			defer p.mu.Unlock()
			p.received = append(p.received, r.Packet)
			return true, nil
		}}}}
	ctx, end := context.WithCancel(context.Background())
	var err error
	if p.cm, err = autopaho.NewConnection(ctx, c); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { end(); <-p.cm.Done() })
	up, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	if err := p.cm.AwaitConnection(up); err != nil {
		b.Fatal(err)
	}
	return p
}

// publish returns whether the broker has acknowledged a message.
func (p *peer) publish(topic, payload string, retain bool) bool {
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	_, err := p.cm.Publish(ctx, &paho.Publish{Topic: topic, Payload: []byte(payload), QoS: 1, Retain: retain})
	return err == nil
}

// payloads returns what came on a topic.
func (p *peer) payloads(topic string) (all []string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, m := range p.received {
		if m.Topic == topic {
			all = append(all, string(m.Payload))
		}
	}
	return all
}

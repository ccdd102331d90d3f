package cli

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"
)

// says waits until the status holds a text.
func (w *watching) says(text string) {
	w.Helper()
	w.until(text, func() bool { _, status := w.ask("GET", "/status", ""); return strings.Contains(status, text) })
}

// startUnwell starts a watch that does not become well, and waits until it answers.
func (s session) startUnwell(flags ...string) *watching {
	s.Helper()
	w := s.watchUnready(flags...)
	w.until("an answer", func() bool { status, _ := w.ask("GET", "/status", ""); return status == 200 })
	return w
}

// passwords makes a file of users, each with the password "right".
func (s session) passwords(path string, users ...string) {
	s.Helper()
	s.write(path, "")
	for _, u := range users {
		if out, err := exec.Command("mosquitto_passwd", "-b", path, u, "right").CombinedOutput(); err != nil {
			s.Skipf("there is no mosquitto_passwd: %v %s", err, out)
		}
	}
}

// A broker that refuses is shown with its reason, and tried again; the right password is read from its file at
// the next start.
func TestBrokerRefuses(t *testing.T) {
	s := newSession(t)
	if *brokers {
		s.passwords("users", "watch", "board")
		s.write("rights", "user watch\ntopic read boards/#\ntopic write house/shelf/status\nuser board\ntopic write boards/#\ntopic read house/#\n")
	}
	here, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	b := s.startBroker("allow_anonymous false\npassword_file " + here + "/users\nacl_file " + here + "/rights")
	s.write("shelf.toml", mqttShelf(b.port, "user = \"watch\"\npassword_file = \"secret\"\npublish = \"house/shelf\"\nevery_seconds = 0.1"))
	s.do(`ohmkeep watch shelf.toml --store shelf.db`).exits(Wrong).says("secret: ")
	s.write("secret", "\n")
	s.do(`ohmkeep watch shelf.toml --store shelf.db`).exits(Wrong).says("secret: has no password in its first line")
	s.write("secret", "wrong\n")
	w := s.startUnwell("--commit", "50ms")
	w.says("no connection to the broker: it refuses: ")
	w.ends()
	if strings.Contains(w.out.String(), "wrong") {
		t.Errorf("the password is logged:\n%s", w.out)
	}

	s.write("secret", "right\r\n")
	w = s.watch("--commit", "50ms")
	board := b.connect("board", "right", "house/#")
	board.publish("boards/shelf", `{"volts": 4.81}`, false)
	w.shows(`ohmkeep_readings_total{probe="board",run="Book shelf"} 1`)
	w.says("the broker has refused messages") // house/shelf/value/…
	w.until("the status is published", func() bool { return len(board.payloads("house/shelf/status")) > 0 })
	if got := board.payloads("house/shelf/value/voltage/left.start%2B/left.start-"); len(got) > 0 {
		t.Errorf("published against the broker's rights: %q", got)
	}
	w.ends()
}

// While the broker is away from the start, messages wait, also over a new start; those beyond the limit are
// counted, and the newest are published in their order.
func TestQueueIsFull(t *testing.T) {
	s := newSession(t)
	b := s.startBroker("")
	b.kill()
	pair := s.terminal()
	s.write("shelf.toml", shelf+board("cabinet", pair.Path)+"[mqtt]\nurl = \"mqtt://127.0.0.1:"+b.port+"\"\npublish = \"house/shelf\"\nevery_seconds = 0.05\nqueue = 20\n")
	w := s.watch("--commit", "50ms")
	for i := range 60 {
		s.say(pair, "1,"+numbered(i+1)+",V\n")
		time.Sleep(10 * time.Millisecond)
		if i == 20 {
			w.ends()
			w = s.watch("--commit", "50ms")
		}
	}
	for i := range 30 {
		s.say(pair, "1,"+numbered(i+61)+",V\n")
		time.Sleep(60 * time.Millisecond)
	}
	w.says("messages for the broker were dropped: its queue was full")
	b.start()
	reader := b.connect("", "", "house/shelf/#")
	const topic = "house/shelf/value/voltage/left.start%2B/left.start-"
	w.until("the newest is published", func() bool {
		all := reader.payloads(topic)
		return len(all) > 0 && strings.Contains(all[len(all)-1], `"value":0.00009,`)
	})
	w.until("the count is published", func() bool {
		all := reader.payloads("house/shelf/status")
		return len(all) > 0 && !strings.Contains(all[len(all)-1], `"messages_dropped":0}`)
	})
	w.ends()
}

// certificates writes a certificate authority and a broker's certificate by it for a host.
func (s session) certificates(ca, certificate, key string, host net.IP) {
	s.Helper()
	now := time.Now()
	sign := func(template, by *x509.Certificate, byKey *ecdsa.PrivateKey) ([]byte, *ecdsa.PrivateKey) {
		k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
		if err != nil {
			s.Fatal(err)
		}
		if byKey == nil {
			byKey = k
		}
		der, err := x509.CreateCertificate(rand.Reader, template, by, &k.PublicKey, byKey)
		if err != nil {
			s.Fatal(err)
		}
		return der, k
	}
	root := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "ca"}, NotBefore: now.Add(-time.Hour), NotAfter: now.Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign}
	rootDER, rootKey := sign(root, root, nil)
	leaf := &x509.Certificate{SerialNumber: big.NewInt(2), Subject: pkix.Name{CommonName: "broker"}, NotBefore: root.NotBefore, NotAfter: root.NotAfter, IPAddresses: []net.IP{host}}
	leafDER, leafKey := sign(leaf, root, rootKey)
	keyDER, err := x509.MarshalECPrivateKey(leafKey)
	if err != nil {
		s.Fatal(err)
	}
	for path, block := range map[string]*pem.Block{ca: {Type: "CERTIFICATE", Bytes: rootDER}, certificate: {Type: "CERTIFICATE", Bytes: leafDER}, key: {Type: "EC PRIVATE KEY", Bytes: keyDER}} {
		s.write(path, string(pem.EncodeToMemory(block)))
	}
}

// With TLS the broker's certificate is checked: by the file, by the host, and by the system's without a file.
func TestBrokerWithTLS(t *testing.T) {
	s := newSession(t)
	here, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	s.certificates("ca.pem", "broker.pem", "broker.key", net.IPv4(127, 0, 0, 1))
	s.certificates("other.pem", "x", "y", net.IPv4(127, 0, 0, 1))
	_, secure, _ := net.SplitHostPort(s.freeAddress())
	b := s.startBroker("listener " + secure + " 127.0.0.1\ncertfile " + here + "/broker.pem\nkeyfile " + here + "/broker.key")
	run := func(url, more string) {
		s.write("shelf.toml", strings.Replace(mqttShelf(secure, more), "mqtt://127.0.0.1", url, 1))
	}
	for _, c := range []struct{ url, more, want string }{
		{"mqtts://127.0.0.1", `ca_file = "other.pem"`, "certificate"},
		{"mqtts://127.0.0.1", ``, "certificate signed by unknown authority"},
		{"mqtts://localhost", `ca_file = "ca.pem"`, "certificate"},
		{"mqtt://127.0.0.1", ``, "no connection to the broker"},
	} {
		run(c.url, c.more)
		w := s.startUnwell()
		w.says(c.want)
		w.ends()
	}
	run("mqtts://127.0.0.1", `ca_file = "x.pem"`)
	s.write("x.pem", "no certificate")
	s.do(`ohmkeep watch shelf.toml --store shelf.db`).exits(Wrong).says("x.pem: holds no certificate")
	run("mqtts://127.0.0.1", `ca_file = "ca.pem"`)
	w := s.watch("--commit", "50ms")
	b.connect("", "").publish("boards/shelf", `{"volts": 4.81}`, false)
	w.shows(`ohmkeep_readings_total{probe="board",run="Book shelf"} 1`)
	w.ends()
}

// A check of a probe at a broker takes nothing from the watch.
func TestProbeCheckAtBroker(t *testing.T) {
	s := newSession(t)
	b := s.startBroker("")
	s.write("shelf.toml", mqttShelf(b.port, ""))
	w := s.watch("--commit", "50ms")
	numbers := b.connect("", "").number(20 * time.Millisecond)
	s.do(`ohmkeep probe check shelf.toml board --seconds 0.5`).exits(Passes).prints(`"topic boards/shelf"`, "volts voltage 0.0000")
	acknowledged := numbers.end()
	s.has(w, acknowledged)
	w.ends()
	s.check(s.exportedNumbers(), acknowledged, 0)
	s.do(`ohmkeep probe check --profile mqtt-json --port mqtt`).refused("a run file is needed that names the broker")
	b.kill()
	s.do(`ohmkeep probe check shelf.toml board`).refused("no connection to the broker")
}

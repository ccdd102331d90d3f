package runfile

import (
	"fmt"
	"net/url"
	"strings"

	"ohmkeep/internal/run"
	"ohmkeep/internal/run/toml"
	"ohmkeep/internal/run/topic"
)

// queueLengths are the numbers of messages that may wait for a broker.
var queueLengths = span{1, 1e6, false, ""}

// readBroker reads the broker of the run:
//
//	[mqtt]
//	url           = "mqtts://broker.example:8883"  # or mqtt://…
//	client        = "ohmkeep-shelf"                # default: ohmkeep and the run's name
//	user          = "shelf"
//	password_file = "broker.password"              # its first line; beside the run file
//	ca_file       = "ca.pem"
//	publish       = "house/shelf"                  # left out = nothing is published
//	every_seconds = 10
//	queue         = 10000
func (r *reader) readBroker() {
	t, ok := r.root.Table("mqtt")
	if !ok {
		return
	}
	b := &run.Broker{URL: requireText(t, "url", "such as mqtts://broker.example:8883")}
	if b.URL != "" {
		checkBrokerURL(t, b.URL)
	}
	if b.Client, ok = t.Text("client"); !ok {
		b.Client = "ohmkeep-" + topic.Level(r.run.Name)
	} else if b.Client == "" {
		t.Fault("client", "is empty", "the name by which the broker knows this program")
	}
	b.User, _ = t.Text("user")
	b.PasswordFile, _ = t.Text("password_file")
	b.CAFile, _ = t.Text("ca_file")
	b.Publish = readTopic(t, "publish")
	b.Every = readNumberOr(t, "every_seconds", 10, between)
	b.Queue = int(readNumberOr(t, "queue", 10_000, queueLengths))
	r.run.Broker = b
}

func checkBrokerURL(t *toml.Table, text string) {
	const hint = "mqtts://host:8883 with TLS, or mqtt://host:1883"
	u, err := url.Parse(text)
	switch {
	case err != nil || u.Host == "" || !strings.HasPrefix(text, "mqtt://") && !strings.HasPrefix(text, "mqtts://"):
		t.Fault("url", fmt.Sprintf("%q is not the address of a broker", text), hint)
	case u.User != nil:
		t.Fault("url", "holds a user or password", "user = … and password_file = … keep the password out of the run file")
	case u.Path != "" && u.Path != "/" || u.RawQuery != "" || u.Fragment != "":
		t.Fault("url", fmt.Sprintf("%q has a path", text), hint)
	}
}

// readTopic reads a topic; "" = none is stated.
func readTopic(t *toml.Table, key string) string {
	text, ok := t.Text(key)
	if !ok {
		return ""
	}
	if err := topic.Check(text); err != nil {
		t.Fault(key, err.Error(), "levels set off by /, such as house/shelf")
	}
	return text
}

package runfile

import (
	"strings"
	"testing"

	"ohmkeep/internal/run"
)

func TestBroker(t *testing.T) {
	r, err := Parse("f.toml", []byte(base+"[mqtt]\nurl = \"mqtts://b.example\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	want := run.Broker{URL: "mqtts://b.example", Client: "ohmkeep-" + r.Name, Every: 10, Queue: 10_000}
	if r.Broker == nil || *r.Broker != want {
		t.Errorf("%+v", r.Broker)
	}
	r, err = Parse("f.toml", []byte(base+`[mqtt]
url = "mqtt://10.0.0.1:1884"
client = "c"
user = "u"
password_file = "p"
ca_file = "a"
publish = "house/shelf"
every_seconds = 2
queue = 5
`))
	if want := (run.Broker{URL: "mqtt://10.0.0.1:1884", Client: "c", User: "u", PasswordFile: "p", CAFile: "a", Publish: "house/shelf", Every: 2, Queue: 5}); err != nil || *r.Broker != want {
		t.Errorf("%+v, %v", r.Broker, err)
	}
	for text, want := range map[string]string{
		"[mqtt]\n":                                                    "mqtt.url: is missing",
		"[mqtt]\nurl = \"http://x\"\n":                                `mqtt.url: "http://x" is not the address of a broker (mqtts://host:8883 with TLS, or mqtt://host:1883)`,
		"[mqtt]\nurl = \"mqtt://u:p@x\"\n":                            "mqtt.url: holds a user or password",
		"[mqtt]\nurl = \"mqtt://x/y\"\n":                              `mqtt.url: "mqtt://x/y" has a path`,
		"[mqtt]\nurl = \"mqtt://x\"\npassword = \"x\"\n":              "mqtt.password: is not known here",
		"[mqtt]\nurl = \"mqtt://x\"\npublish = \"a/#\"\n":             `mqtt.publish: "a/#" holds a wildcard`,
		"[mqtt]\nurl = \"mqtt://x\"\nclient = \"\"\n":                 "mqtt.client: is empty",
		"[mqtt]\nurl = \"mqtt://x\"\nqueue = 0\n":                     "mqtt.queue: 0 is out of range",
		"[[probe]]\nname = \"b\"\nprofile = \"p\"\nport = \"mqtt\"\n": "probe.port: the run file names no broker",
	} {
		if _, err := Parse("f.toml", []byte(base+text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: got %v, want %q", text, err, want)
		}
	}
}

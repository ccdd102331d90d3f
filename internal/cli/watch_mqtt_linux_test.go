package cli

import (
	"fmt"
	"os"
	"strings"
	"syscall"
	"testing"
)

// mqttShelf is the run file of a shelf whose board publishes JSON texts; more is added to [mqtt].
func mqttShelf(port, more string) string {
	return fmt.Sprintf(`%s
[mqtt]
url = "mqtt://127.0.0.1:%s"
%s
[[probe]]
name = "board"
profile = "mqtt-json"
port = "mqtt"
topic = "boards/shelf"
  [[probe.channel]]
  id = "volts"
  quantity = "voltage"
  from = "left.start+"
  to = "left.start-"
  [[probe.channel]]
  id = "amps"
  quantity = "current"
  from = "near"
`, shelf, port, more)
}

// What a board publishes is stored digit by digit; what the broker had kept from before, nonsense and other
// topics are not. What the watch knows is published, kept by the broker, and is ended by a last
// will.
func TestWatchAtBroker(t *testing.T) {
	s := newSession(t)
	b := s.startBroker("")
	board := b.connect("", "", "house/shelf/#")
	board.publish("boards/shelf", `{"volts": 9.99}`, true) // of any age
	s.write("shelf.toml", mqttShelf(b.port, "publish = \"house/shelf\"\nevery_seconds = 0.1"))
	w := s.watch("--commit", "50ms")
	for _, m := range []string{`{"volts": 4.810, "amps": 2.310}`, `nonsense`, `{"volts": null}`, `{"volts": "4.820"}`} {
		if !board.publish("boards/shelf", m, false) {
			t.Fatal("the broker does not take it")
		}
	}
	w.shows(`ohmkeep_readings_total{probe="board",run="Book shelf"} 3`)
	w.shows(`ohmkeep_bad_lines_total{probe="board",run="Book shelf"} 1`)
	out := s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out
	for _, want := range []string{",voltage,left.start+,left.start-,4.810,V,", ",current,near,,2.310,A,", ",voltage,left.start+,left.start-,4.820,V,"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is missing in\n%s", want, out)
		}
	}
	if strings.Contains(out, "9.99") || strings.Count(out, "\n") != 4 {
		t.Errorf("exported\n%s", out)
	}
	last := func(topic string) string {
		all := board.payloads(topic)
		if len(all) == 0 {
			return ""
		}
		return all[len(all)-1]
	}
	w.until("the values are published", func() bool {
		return strings.Contains(last("house/shelf/value/voltage/left.start%2B/left.start-"), `"value":4.82,"unit":"V"`) &&
			strings.Contains(last("house/shelf/value/current/near"), `"value":2.31,"unit":"A"`)
	})
	w.until("the status is published", func() bool { return strings.Contains(last("house/shelf/status"), `"well":true`) })
	if got := last("house/shelf/watch"); got != "online" {
		t.Errorf("the watch is %q", got)
	}
	late := b.connect("", "", "house/shelf/value/#") // who comes later reads what the broker has kept
	w.until("the values are kept", func() bool { return len(late.payloads("house/shelf/value/current/near")) == 1 })
	w.ends()
	w.until("the last will", func() bool { return last("house/shelf/watch") == "offline" })
}

// A run file that is read again subscribes to what it names and gives up the rest; another broker is noted in the status.
func TestWatchAtBrokerReloads(t *testing.T) {
	s := newSession(t)
	b := s.startBroker("")
	s.write("shelf.toml", mqttShelf(b.port, ""))
	w := s.watch("--commit", "50ms")
	board := b.connect("", "")
	board.publish("boards/shelf", `{"volts": 4.801}`, false)
	w.shows(`ohmkeep_readings_total{probe="board",run="Book shelf"} 1`)
	s.write("shelf.toml", strings.ReplaceAll(mqttShelf(b.port, "user = \"new\""), "boards/shelf", "boards/other"))
	self, err := os.FindProcess(os.Getpid())
	if err == nil {
		err = self.Signal(syscall.SIGHUP) // the watch runs in this process
	}
	if err != nil {
		t.Fatal(err)
	}
	w.says("the run file names another broker: it takes effect at the next start of the watch")
	w.until("the new topic is read", func() bool {
		board.publish("boards/other", `{"volts": 4.802}`, false)
		_, text := w.ask("GET", "/metrics", "")
		return !strings.Contains(text, "\nohmkeep_readings_total{probe=\"board\",run=\"Book shelf\"} 1\n")
	})
	board.publish("boards/shelf", `{"volts": 4.803}`, false)
	board.publish("boards/other", `{"volts": 4.804}`, false)
	w.until("the last is stored", func() bool {
		return strings.Contains(s.do(`ohmkeep export shelf.toml --store shelf.db`).exits(Passes).out, ",4.804,")
	})
	w.ends()
	if out := s.do(`ohmkeep export shelf.toml --store shelf.db`).out; strings.Contains(out, "4.803") || !strings.Contains(out, "4.801") {
		t.Errorf("exported\n%s", out)
	}
}

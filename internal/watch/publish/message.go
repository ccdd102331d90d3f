package publish

import (
	"encoding/json"
	"math"
	"strings"
	"time"

	"ohmkeep/internal/instrument/mqtt"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run/topic"
	"ohmkeep/internal/watch/recorder"
)

// Presence is the topic below a run's that says whether the watch is there: Online, or Offline, which
// the broker publishes by itself when the connection is lost.
const (
	Presence = "watch"
	Online   = "online"
	Offline  = "offline"
)

// Status is the well-being of the watch and of the run.
type Status struct {
	Schema   int       `json:"schema"`
	Run      string    `json:"run"`
	Time     time.Time `json:"time"`
	Well     bool      `json:"well"`      // the watch
	Reasons  []string  `json:"reasons"`   // why it is not
	RunState string    `json:"run_state"` // sound, unproven, failing, unknown
	Failing  []string  `json:"failing"`   // elements, in words
	Step     string    `json:"step"`
	// Waiting and Dropped count the messages for the broker.
	Waiting int64 `json:"messages_waiting"`
	Dropped int64 `json:"messages_dropped"`
}

// value is the newest good reading of a channel.
type value struct {
	Time  time.Time `json:"time"`
	Value float64   `json:"value"` // SI, °C
	Unit  string    `json:"unit"`
	Step  string    `json:"step"`
	Probe string    `json:"probe"`
}

// verdict is what the newest analysis says of an element. Resistances are at 20 °C, in Ω; those of a
// reel are of all its copper; null = not known.
type verdict struct {
	Verdict history.Verdict `json:"verdict"`
	Ohms    *float64        `json:"ohms"`
	Low     *float64        `json:"low_ohms"` // 95 % interval
	High    *float64        `json:"high_ohms"`
	Limit   *float64        `json:"limit_ohms"`
	Last    time.Time       `json:"last"` // of the newest reading
	Why     string          `json:"why,omitempty"`
}

// message returns a message of one topic; names are its levels.
func message(root string, body any, names ...string) mqtt.Retained {
	levels := []string{root}
	for _, n := range names {
		levels = append(levels, topic.Level(n))
	}
	text, err := json.Marshal(body)
	if err != nil {
		text = []byte("null") // the bodies are structs of numbers and texts
	}
	return mqtt.Retained{Topic: strings.Join(levels, "/"), Payload: string(text)}
}

// values returns the messages of the channels whose newest good reading is newer than sent says, and
// notes them there. Dates since boot tell readings apart, because the clock may be set.
func values(root string, s recorder.Snapshot, sent map[string]time.Duration) []mqtt.Retained {
	var all []mqtt.Retained
	for _, p := range s.Probes {
		for _, c := range p.Channels {
			if c.Age == nil || c.Value == nil || *c.Age > s.Seconds {
				continue // there is none since the start of the watch
			}
			at := s.Time.Add(-time.Duration(*c.Age * float64(time.Second))).Round(time.Millisecond)
			names := []string{"value", c.What, c.From}
			if c.To != "" {
				names = append(names, c.To)
			}
			m := message(root, value{at, *c.Value, reading.Unit(c.Quantity), s.Step, p.Name}, names...)
			if before, ok := sent[m.Topic]; ok && c.Last <= before {
				continue
			}
			sent[m.Topic] = c.Last
			all = append(all, m)
		}
	}
	return all
}

// verdicts returns the messages of an analysis; nil: there was none.
func verdicts(root string, h *history.History) []mqtt.Retained {
	if h == nil {
		return nil
	}
	known := func(x float64) *float64 {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return nil
		}
		return &x
	}
	var all []mqtt.Retained
	for _, s := range h.Series {
		v := verdict{s.Verdict, known(s.Ohms), known(s.Low), known(s.High), known(s.Limit), s.Last, s.Why}
		all = append(all, message(root, v, "verdict", string(s.Kind), s.Name, s.Rail.String()))
	}
	return all
}

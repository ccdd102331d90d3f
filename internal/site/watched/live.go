package watched

import (
	"encoding/json"
	"net/http"
	"strconv"
	"time"

	"ohmkeep/internal/result/assessment"
	"ohmkeep/internal/show/wording"
	"ohmkeep/internal/watch/service"
)

// Live is the state of a watched run as JSON: the answer to GET /live, and the event "live" of GET
// /live/events. Keys may be added; none changes its meaning within a schema.
type Live struct {
	Schema   int       `json:"schema"` // 1
	Run      string    `json:"run"`
	Revision int       `json:"revision"` // counts up when an analysis, the run file or a note has changed the pages
	Watch    Watch     `json:"watch"`
	Notes    []string  `json:"notes"`    // what needs attention although the watch is well
	Step     string    `json:"step"`     // that the run shows; "" = not known
	Channels []Channel `json:"channels"` // of all probes, in the order of the run file
}

// Watch is the state of the program and its instruments.
type Watch struct {
	Verdict string   `json:"verdict"` // pass, fail, or unproven: something was never read, or the dates are uncertain
	Text    string   `json:"text"`    // a sentence
	Details []string `json:"details"`
}

// Channel is the newest good reading of one channel of a probe.
type Channel struct {
	Probe    string     `json:"probe"`
	ID       string     `json:"id"`
	Quantity string     `json:"quantity"` // voltage, current or temperature
	From     string     `json:"from"`     // as in a reading
	To       string     `json:"to,omitempty"`
	Value    *float64   `json:"value"` // V, A or °C; null = there was none yet
	Unit     string     `json:"unit"`
	Text     string     `json:"text"`  // the value with its unit, as it is shown; "" = none
	Time     *time.Time `json:"time"`  // of the reading, to a tenth of a second
	State    string     `json:"state"` // see below
}

// The states of a channel.
const (
	current   = "current"       // its probe is read
	noneYet   = "none yet"      // it never had a good reading
	lost      = "not connected" // its probe is not connected, or is silent
	elsewhere = "not live"      // its watch is elsewhere
	unusable  = "unusable"      // its newest sample is no measured value
)

// liveOf returns the state of a run at a revision of its pages.
func (p *Pages) liveOf(s service.Status, revision int) Live {
	l := liveOf(s, revision)
	if p.o.Away != nil {
		l.Watch = p.o.Away().watch()
		for i := range l.Channels {
			l.Channels[i].State = elsewhere
		}
	}
	return l
}

// liveOf returns the state of a watch at a revision of its pages.
func liveOf(s service.Status, revision int) Live {
	l := Live{Schema: 1, Run: s.Run, Revision: revision, Watch: watchOf(s), Notes: s.Notes, Step: s.Step, Channels: []Channel{}}
	for _, probe := range s.Probes {
		for _, c := range probe.Channels {
			one := Channel{Probe: probe.Name, ID: c.ID, Quantity: c.What, From: c.From, To: c.To, Value: c.Value, Unit: service.Unit(c.What), State: current}
			if c.Value != nil && c.Age != nil {
				at := s.Time.Add(-time.Duration(*c.Age * float64(time.Second))).Round(100 * time.Millisecond)
				one.Time, one.Text = &at, wording.Value(c.Quantity, *c.Value)
			}
			switch {
			case !probe.Up || probe.Silent:
				one.State = lost
			case c.Value == nil:
				one.State = noneYet
			case c.Quality != "good":
				one.State = unusable
			}
			l.Channels = append(l.Channels, one)
		}
	}
	return l
}

// watchOf returns the state of a watch.
func watchOf(s service.Status) Watch {
	part := s.WatchPart()
	verdict := map[service.Verdict]assessment.Verdict{service.Good: assessment.Pass, service.Unproven: assessment.Unproven, service.Bad: assessment.Fail}[part.Verdict]
	return Watch{string(verdict), part.Text, append([]string{}, part.Details...)}
}

// live answers with the present state.
func (p *Pages) live(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(p.liveOf(p.source.Status(), p.present())) // an error means that the client is gone
}

// liveInterval is the time between two states that are sent to open pages.
const liveInterval = time.Second

// keepUp sends the state to the open pages until the watch ends.
func (p *Pages) keepUp() {
	tick := time.NewTicker(liveInterval)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			if p.feed.Pages() > 0 {
				p.publish()
			}
		case <-p.source.Done():
			return
		}
	}
}

// timeInterval is the time between two readings of the watch's clock that are sent.
const timeInterval = 10 * time.Second

// publish sends the state, and now and then in the event "time" the watch's clock in ms since 1970,
// by which a page computes ages.
func (p *Pages) publish() { p.send(timeInterval) }

// opened brings a page that opens up to date.
func (p *Pages) opened() { p.send(0) }

// send publishes the state, and the clock if it is older than so much.
func (p *Pages) send(interval time.Duration) {
	status := p.source.Status()
	b, err := json.Marshal(p.liveOf(status, p.present()))
	if err != nil {
		return // a value that is no number; the page keeps the state before
	}
	p.feed.Publish("live", b)
	p.mu.Lock()
	due := status.Time.Sub(p.sentTime).Abs() >= interval
	if due {
		p.sentTime = status.Time
	}
	p.mu.Unlock()
	if due {
		p.feed.Publish("time", strconv.AppendInt(nil, status.Time.UnixMilli(), 10))
	}
}

package recorder

import (
	"strings"
	"time"

	"ohmkeep/internal/run"
	"ohmkeep/internal/watch/probe"
)

// Snapshot is the state of the recorder at one moment.
type Snapshot struct {
	Run      string       `json:"run"`
	Time     time.Time    `json:"time"`
	Certain  bool         `json:"clock_certain"`
	Seconds  float64      `json:"running_seconds"`
	Step     string       `json:"step"` // "" = not known
	Probes   []ProbeState `json:"probes"`
	Waiting  int          `json:"readings_waiting"`
	Dropped  uint64       `json:"readings_dropped"` // the queue was full
	Refused  uint64       `json:"readings_refused"` // by the store
	Commits  uint64       `json:"commits"`
	Failures uint64       `json:"commit_failures"`
	// CommitAge is the time since the last commit, or since the start without one; CommitSeconds
	// is the duration of that commit.
	CommitAge     float64 `json:"last_commit_age_seconds"`
	CommitSeconds float64 `json:"last_commit_seconds"`
	StoreFault    string  `json:"store_fault,omitempty"` // "" = the store commits
}

// ProbeState is the state of a probe. Counts are since the program's start.
type ProbeState struct {
	Name     string         `json:"name"`
	Profile  string         `json:"profile"`
	Port     string         `json:"port"`
	Source   string         `json:"source"` // device, transcript or simulated
	Identity string         `json:"identity,omitempty"`
	Up       bool           `json:"up"`
	Silent   bool           `json:"silent"`
	Garbled  bool           `json:"garbled"`
	Why      string         `json:"why,omitempty"`
	Since    float64        `json:"since_seconds"` // since Up last changed
	Stored   uint64         `json:"readings"`      // safe on disk
	Bad      uint64         `json:"bad_lines"`
	Skipped  uint64         `json:"skipped_lines"`
	Unusable uint64         `json:"unusable"`
	Lost     uint64         `json:"losses"`
	Restarts uint64         `json:"restarts"` // without being unplugged
	Channels []ChannelState `json:"channels"`
}

// ChannelState is the state of one channel.
type ChannelState struct {
	ID       string       `json:"id"`
	Quantity run.Quantity `json:"-"`
	What     string       `json:"quantity"`
	From     string       `json:"from"`
	To       string       `json:"to,omitempty"`
	// Age is the age of the last good reading, including those of the store, in seconds; nil =
	// there was none.
	Age *float64 `json:"last_good_age_seconds"`
	// Last is the date of that reading since boot. Readings of a probe differ in it by 1 µs or more, also after the clock was set.
	Last     time.Duration `json:"-"`
	Value    *float64      `json:"value"` // V, A or °C
	Unusable uint64        `json:"unusable"`
	Quality  string        `json:"quality"` // of the newest sample
}

// Snapshot returns the present state.
func (r *Recorder) Snapshot() Snapshot {
	r.mu.Lock()
	defer r.mu.Unlock()
	now := r.o.Clock.Now()
	age := func(since time.Duration) float64 { return (now.SinceBoot - since).Seconds() }
	s := Snapshot{
		Run: r.plan.Run.Name, Time: now.Time, Certain: !now.Uncertain, Seconds: age(r.started.SinceBoot),
		Step: r.steps.current(), Waiting: r.queue.waiting + r.queue.taken, Dropped: r.queue.dropped,
		Refused: r.commit.refused, Commits: r.commit.done, Failures: r.commit.failed,
		CommitAge: age(max(r.commit.last, r.started.SinceBoot)), CommitSeconds: r.commit.duration.Seconds(),
	}
	if r.commit.err != nil {
		s.StoreFault = r.commit.err.Error()
	}
	for _, p := range r.probes {
		w := p.wiring.Load()
		one := ProbeState{Name: p.name, Profile: p.profile.Name, Port: p.port, Source: source(p.port), Identity: p.identity,
			Up: p.state == up, Silent: p.silent, Garbled: p.unreadable, Why: p.why, Since: age(max(p.changed.SinceBoot, r.started.SinceBoot)),
			Stored: p.totals.stored, Bad: p.totals.bad, Skipped: p.totals.skipped, Unusable: p.totals.unusable, Lost: p.totals.lost, Restarts: p.totals.restarts}
		for _, c := range w.order {
			state := ChannelState{ID: c.ID, Quantity: c.Quantity, What: c.Quantity.String(), From: c.From, To: c.To,
				Unusable: c.unusable, Quality: c.quality.String()}
			if c.hasValue {
				a, v := age(c.last), c.value
				state.Age, state.Last, state.Value = &a, c.dated, &v
			}
			one.Channels = append(one.Channels, state)
		}
		s.Probes = append(s.Probes, one)
	}
	return s
}

// source returns the kind of a port.
func source(port string) string {
	switch {
	case port == probe.Simulated:
		return "simulated"
	case strings.HasPrefix(port, probe.Transcript):
		return "transcript"
	}
	return "device"
}

// Reasons returns what is wrong in a snapshot; empty if nothing is.
func (s Snapshot) Reasons() []string {
	var reasons []string
	if s.StoreFault != "" {
		reasons = append(reasons, "the store does not commit: "+s.StoreFault)
	}
	for _, p := range s.Probes {
		switch {
		case !p.Up && p.Why != "":
			reasons = append(reasons, "probe "+p.Name+": "+p.Why)
		case !p.Up:
			reasons = append(reasons, "probe "+p.Name+": not opened yet")
		case p.Silent:
			reasons = append(reasons, "probe "+p.Name+": is silent")
		case p.Garbled:
			reasons = append(reasons, "probe "+p.Name+": most of its lines cannot be read")
		}
	}
	return reasons
}

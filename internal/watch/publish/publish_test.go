package publish

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"ohmkeep/internal/instrument/mqtt"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/watch/recorder"
)

// wire is a broker in memory.
type wire struct {
	mu    sync.Mutex
	up    bool
	made  uint64   // connections
	lose  bool     // the next message is taken and its acknowledgement lost
	ban   []string // beginnings of topics
	taken []mqtt.Retained
}

func (w *wire) AwaitUp(ctx context.Context) error {
	for ctx.Err() == nil {
		w.mu.Lock()
		up := w.up
		w.mu.Unlock()
		if up {
			return nil
		}
		time.Sleep(time.Millisecond)
	}
	return mqtt.ErrDown
}

func (w *wire) Connections() uint64 { w.mu.Lock(); defer w.mu.Unlock(); return w.made }

// reconnect loses the connection between two messages and makes another one at once: the broker publishes the will.
func (w *wire) reconnect(will mqtt.Retained) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.taken, w.made = append(w.taken, will), w.made+1
}

func (w *wire) Publish(_ context.Context, m mqtt.Retained) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	switch {
	case !w.up:
		return mqtt.ErrDown
	case slices.ContainsFunc(w.ban, func(begin string) bool { return strings.HasPrefix(m.Topic, begin) }):
		return mqtt.Refused{Topic: m.Topic, Reason: 0x87}
	}
	w.taken = append(w.taken, m)
	if w.lose {
		w.lose, w.up = false, false
		return fmt.Errorf("%w: cut", mqtt.ErrDown)
	}
	return nil
}

func (w *wire) turn(up bool) { w.mu.Lock(); w.up = up; w.mu.Unlock() }

// of returns the payloads of a topic.
func (w *wire) of(topic string) (all []string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, m := range w.taken {
		if m.Topic == topic {
			all = append(all, m.Payload)
		}
	}
	return all
}

func until(t *testing.T, what string, true func() bool) {
	t.Helper()
	for begun := time.Now(); !true(); time.Sleep(2 * time.Millisecond) {
		if time.Since(begun) > 20*time.Second {
			t.Fatal("never: ", what)
		}
	}
}

// A value that changes 200 times a second is published through failures of the broker: none is missing and
// the order is kept, over an outage, a lost acknowledgement (one value twice), a new start.
func TestNothingIsLost(t *testing.T) {
	path := filepath.Join(t.TempDir(), "queue.db")
	w := &wire{up: true}
	begun := time.Now()
	var mu sync.Mutex
	n := 0
	snapshot := func() recorder.Snapshot {
		mu.Lock()
		defer mu.Unlock()
		n++
		age, v := 0.0, float64(n)
		return recorder.Snapshot{Run: "R", Time: begun.Add(time.Duration(n) * time.Second), Seconds: 1e6, Probes: []recorder.ProbeState{{Name: "p",
			Channels: []recorder.ChannelState{{Quantity: run.Current, What: "current", From: "near", Age: &age, Last: time.Duration(n) * time.Second, Value: &v}}}}}
	}
	start := func() (end func()) {
		q, err := OpenQueue(path, 100_000)
		if err != nil {
			t.Fatal(err)
		}
		p := &Publisher{Root: "a/b", Every: 5 * time.Millisecond, Link: w, Queue: q, Snapshot: snapshot, History: func() *history.History { return nil },
			Status: func() Status { return Status{Run: "R"} }, Log: slog.New(slog.DiscardHandler)}
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { p.Run(ctx); close(done) }()
		return func() {
			cancel()
			<-done
			if err := q.Close(); err != nil || len(p.Notes()) != 0 {
				t.Errorf("%v %q", err, p.Notes())
			}
		}
	}
	end := start()
	const topic = "a/b/value/current/near"
	until(t, "published", func() bool { return len(w.of(topic)) >= 20 })
	w.mu.Lock()
	w.lose = true
	w.mu.Unlock()
	until(t, "cut", func() bool { w.mu.Lock(); defer w.mu.Unlock(); return !w.up })
	time.Sleep(30 * time.Millisecond)
	end()
	end = start() // with the broker away
	time.Sleep(30 * time.Millisecond)
	before := len(w.of(topic))
	w.turn(true)
	until(t, "published again", func() bool { return len(w.of(topic)) > before+30 })
	end()

	all, twice := w.of(topic), 0
	for i := 1; i < len(all); i++ {
		var a, b int
		for k, into := range []*int{&a, &b} {
			_, text, _ := strings.Cut(all[i-1+k], `"value":`)
			if _, err := fmt.Sscanf(text, "%d", into); err != nil {
				t.Fatal(all[i-1+k])
			}
		}
		switch b - a {
		case 1:
		default:
			twice++
			if b > a || a-b >= batch {
				t.Fatalf("%d comes after %d", b, a)
			}
		}
	}
	if twice > 1 {
		t.Errorf("sent again %d times", twice)
	}
	if got := w.of("a/b/watch"); len(got) < 2 || got[0] != Online {
		t.Errorf("%q", got)
	}
}

// Readings that come within a millisecond are published each, also after the clock was set back; one reading is
// published once, also when the clock was set forward.
func TestEachReadingOnce(t *testing.T) {
	sent := map[string]time.Duration{}
	noon := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	for i, c := range []struct {
		clock time.Time
		last  time.Duration // of the newest reading, since boot
		value float64
		want  int // messages
	}{
		{noon, 5 * time.Second, 4.81, 1},
		{noon.Add(time.Millisecond), 5*time.Second + time.Microsecond, 4.82, 1},
		{noon.Add(time.Hour), 5*time.Second + time.Microsecond, 4.82, 0},
		{noon.Add(-time.Hour), 6 * time.Second, 4.83, 1},
	} {
		age := 0.001
		s := recorder.Snapshot{Time: c.clock, Seconds: 10, Probes: []recorder.ProbeState{{Channels: []recorder.ChannelState{
			{What: "current", From: "near", Age: &age, Last: c.last, Value: &c.value}}}}}
		got := values("a", s, sent)
		if len(got) != c.want || c.want == 1 && !strings.Contains(got[0].Payload, fmt.Sprintf(`"value":%g,`, c.value)) {
			t.Errorf("case %d: %v", i, got)
		}
	}
}

// What the broker refuses does not block the rest; values that are no longer measured and elements that are no
// longer analysed end.
func TestRefusedAndGone(t *testing.T) {
	w := &wire{up: true, ban: []string{"a/value", "a/watch"}}
	var mu sync.Mutex
	h := &history.History{Series: []history.Series{{Kind: run.KindFeed, Name: "near", Rail: run.Loop, Ohms: 0.1, Low: 0.09, High: 0.11, Limit: math.NaN(), Verdict: history.Steady}}}
	age, v := 0.0, 1.0
	q := openQueue(t, filepath.Join(t.TempDir(), "q"), 1000)
	p := &Publisher{Root: "a", Every: 5 * time.Millisecond, Link: w, Queue: q, History: func() *history.History { mu.Lock(); defer mu.Unlock(); return h },
		Snapshot: func() recorder.Snapshot {
			return recorder.Snapshot{Time: time.Now(), Seconds: 1, Probes: []recorder.ProbeState{{Channels: []recorder.ChannelState{{What: "voltage", From: "x+", To: "x-", Age: &age, Value: &v}}}}}
		},
		Status: func() Status { return Status{} }, Log: slog.New(slog.DiscardHandler)}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { p.Run(ctx); close(done) }()
	defer func() { cancel(); <-done }()
	const topic = "a/verdict/feed/near/loop"
	until(t, "verdict", func() bool { return len(w.of(topic)) == 1 })
	if got := w.of(topic)[0]; got != `{"verdict":"steady","ohms":0.1,"low_ohms":0.09,"high_ohms":0.11,"limit_ohms":null,"last":"0001-01-01T00:00:00Z"}` {
		t.Error(got)
	}
	until(t, "noted", func() bool { return slices.Contains(p.Notes(), "the broker has refused messages") })
	mu.Lock()
	h = &history.History{}
	mu.Unlock()
	until(t, "ended", func() bool { return slices.Equal(w.of(topic)[1:], []string{""}) })
	if errors.Is(mqtt.Refused{}, mqtt.ErrDown) {
		t.Error("a refused message is taken for a lost connection")
	}
}

// A connection that is lost while nothing is sent, and made again at once, leaves the watch online at the broker.
func TestOnlineOnEachConnection(t *testing.T) {
	w := &wire{up: true}
	p := &Publisher{Root: "a", Every: 5 * time.Millisecond, Link: w, Queue: openQueue(t, filepath.Join(t.TempDir(), "q"), 1000),
		Snapshot: func() recorder.Snapshot { return recorder.Snapshot{} }, History: func() *history.History { return nil },
		Status: func() Status { return Status{} }, Log: slog.New(slog.DiscardHandler)}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { p.Run(ctx); close(done) }()
	defer func() { cancel(); <-done }()
	until(t, "status", func() bool { return len(w.of("a/status")) == 1 })
	w.reconnect(mqtt.Retained{Topic: "a/watch", Payload: Offline})
	until(t, "online again", func() bool { return slices.Equal(w.of("a/watch"), []string{Online, Offline, Online}) })
}

// A verdict that could not be queued, as on a full disk, is published once it can be.
func TestQueueFails(t *testing.T) {
	w := &wire{up: true}
	q := openQueue(t, filepath.Join(t.TempDir(), "q"), 1000)
	p := &Publisher{Root: "a", Every: 5 * time.Millisecond, Link: w, Queue: q, Snapshot: func() recorder.Snapshot { return recorder.Snapshot{} },
		History: func() *history.History {
			return &history.History{Series: []history.Series{{Kind: run.KindFeed, Name: "near", Rail: run.Loop, Verdict: history.Steady}}}
		},
		Status: func() Status { return Status{} }, Log: slog.New(slog.DiscardHandler)}
	rename := func(from, to string) {
		t.Helper()
		if _, err := q.db.Exec("ALTER TABLE " + from + " RENAME TO " + to); err != nil {
			t.Fatal(err)
		}
	}
	rename("message", "away")
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { p.Run(ctx); close(done) }()
	defer func() { cancel(); <-done }()
	until(t, "noted", func() bool { return len(p.Notes()) == 1 })
	rename("away", "message")
	until(t, "verdict", func() bool { return len(w.of("a/verdict/feed/near/loop")) == 1 })
	until(t, "note gone", func() bool { return len(p.Notes()) == 0 })
}

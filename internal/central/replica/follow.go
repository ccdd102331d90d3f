package replica

import (
	"context"
	"log/slog"
	"time"

	"ohmkeep/internal/central/archive"
	"ohmkeep/internal/fault"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
	"ohmkeep/internal/watch/analysis"
)

// state is what an analysis has left, and what it was made of.
type state struct {
	version int
	data    []byte
	of      archive.Arrived
	at      time.Time // of the analysis; zero = there was none
}

// look is what a look at the central database has found.
type look struct {
	site string
	file string // of the run
	archive.Arrived
}

// seen looks at what has arrived of the run.
func (r *Run) seen(ctx context.Context) (l look, err error) {
	err = r.reading(ctx, func(a *archive.Reader) error {
		l.site = a.Name()
		if l.Arrived, err = a.Arrived(ctx, r.name); err == nil {
			l.file, err = a.RunFile(ctx, r.name)
		}
		return err
	})
	return l, err
}

// load reads the run file that has arrived, if it is another one. What was analysed with the one
// before does not count then.
func (r *Run) load(l look) error {
	r.mu.Lock()
	same := r.run != nil && r.file == l.file
	r.mu.Unlock()
	if same {
		return nil
	}
	loaded, err := r.by.c.Load(l.file)
	if err != nil {
		return fault.Fault{Text: "the run file that has arrived cannot be read here: " + err.Error()}
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.run, r.file, r.state = loaded, l.file, state{}
	return nil
}

// arrived records what has arrived.
func (r *Run) arrived(l look) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.siteName = l.site
	r.arrival.Heard, r.arrival.Until, r.arrival.Fault = l.Heard, l.Until, ""
}

// follow looks at what has arrived, and analyses it, until the context ends.
func (r *Run) follow(ctx context.Context) {
	defer close(r.done)
	tick := time.NewTicker(lookInterval)
	defer tick.Stop()
	for first := true; ; first = false {
		err := r.refresh(ctx)
		if ctx.Err() != nil {
			return
		}
		if err != nil {
			r.by.c.Log.Error("a run cannot be read from the central database", "site", r.Site(), "run", r.name, "why", err)
			r.set(func() {
				r.arrival.Fault, r.arrival.Analysing = "The central database cannot be read now. The log says why.", false
			})
		}
		if first {
			close(r.once)
		}
		select {
		case <-tick.C:
		case <-r.soon:
			r.set(func() { r.state.at = time.Time{} })
		case <-ctx.Done():
			return
		}
	}
}

// set changes what is known of the run.
func (r *Run) set(change func()) {
	r.mu.Lock()
	defer r.mu.Unlock()
	change()
}

// refresh looks at what has arrived, and analyses it where that is due.
func (r *Run) refresh(ctx context.Context) error {
	l, err := r.seen(ctx)
	if err == nil {
		err = r.load(l)
	}
	if err != nil {
		return err
	}
	r.arrived(l)
	now := r.by.c.Now()
	r.mu.Lock()
	if r.state.of.Revision != l.Revision { // readings that were analysed have been replaced
		r.state = state{}
	}
	due := r.state.at.IsZero() || r.state.of != l.Arrived && now.Sub(r.state.at) >= analyseInterval
	r.mu.Unlock()
	if !due {
		return nil
	}
	return r.analyse(ctx, l, now)
}

// analyse analyses what has arrived since the last analysis.
func (r *Run) analyse(ctx context.Context, l look, now time.Time) error {
	select {
	case r.by.turn <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-r.by.turn }()
	r.set(func() { r.arrival.Analysing = true })
	var found *history.History
	of := r.Run()
	err := r.reading(ctx, func(a *archive.Reader) (err error) {
		found, err = analysis.Run(ctx, memory{a, r}, named(of, r.name), analysis.Options{Log: slog.New(slog.DiscardHandler), Now: r.by.c.Now})
		return err
	})
	if err == nil && found.Last.IsZero() {
		found = nil // there are no readings
	}
	r.set(func() {
		r.arrival.Analysing = false
		if err == nil {
			r.history, r.state.of, r.state.at = found, l.Arrived, now
		}
	})
	return err
}

// named returns a run under the name that the central database has for it.
func named(r *run.Run, name string) *run.Run {
	if r.Name == name {
		return r
	}
	other := *r
	other.Name = name
	return &other
}

// memory keeps the state of an analysis in memory; the readings are those of the central database.
type memory struct {
	*archive.Reader
	r *Run
}

// State returns the state that the analysis before has kept.
func (m memory) State(context.Context, string, string) (version int, data []byte, ok bool, err error) {
	m.r.mu.Lock()
	defer m.r.mu.Unlock()
	return m.r.state.version, m.r.state.data, m.r.state.data != nil, nil
}

// SetState keeps the state of the analysis.
func (m memory) SetState(_ context.Context, _, _ string, version int, data []byte) error {
	m.r.set(func() { m.r.state.version, m.r.state.data = version, data })
	return nil
}

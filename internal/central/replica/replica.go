// Package replica follows runs of a firm's sites in the central database, for pages like those of
// their watches: the run file that has arrived, the history of the elements, and what was stored.
//
// The readings of a run are analysed when it is opened, and then every few minutes while new ones
// arrive, by the analysis of the watch itself, so that the results are the same. Its state is kept
// in memory while the run is followed. One run at a time is analysed.
package replica

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"ohmkeep/internal/central/archive"
	"ohmkeep/internal/central/fleet"
	"ohmkeep/internal/central/postgres"
	"ohmkeep/internal/result/history"
	"ohmkeep/internal/run"
)

const (
	lookInterval    = 30 * time.Second // between two looks at what has arrived
	analyseInterval = 5 * time.Minute  // between two analyses of readings that go on arriving
)

// Config is what runs are followed with.
type Config struct {
	Use  func(context.Context, func(*postgres.DB) error) error // calls a function with a connection, as a pool does
	Load func(runFile string) (*run.Run, error)                // reads the text of a run file, with the accuracies of its probes
	Now  func() time.Time
	Log  *slog.Logger
}

// Follower opens runs.
type Follower struct {
	c    Config
	turn chan struct{} // holds a value while a run is analysed
}

// New returns a follower of runs.
func New(c Config) *Follower { return &Follower{c, make(chan struct{}, 1)} }

// Run is a run that is followed until it is closed. Its methods may be called from any goroutine.
type Run struct {
	by   *Follower
	site int64
	name string
	stop context.CancelFunc
	done chan struct{} // closed when the run is closed
	soon chan struct{} // an analysis is wanted
	once chan struct{} // closed after the first analysis, or the first failure

	mu       sync.Mutex
	siteName string
	run      *run.Run
	file     string // the run file that run was read from
	history  *history.History
	arrival  Arrival
	state    state
}

// Arrival is what is known of the arrival of a run's readings.
type Arrival struct {
	Heard     time.Time // when the watch last sent something; zero = never
	Until     time.Time // readings before it have arrived; zero = none
	Silent    bool      // nothing was heard of it for longer than fleet.SilentAfter
	Analysing bool      // the readings are being analysed
	Fault     string    // why the newest readings are not shown; "" = they are
}

// Follow begins to follow a run of the site with a number. It returns an error if there is no such
// run, or if its run file cannot be read here.
func (f *Follower) Follow(ctx context.Context, site int64, name string) (*Run, error) {
	following, stop := context.WithCancel(context.WithoutCancel(ctx))
	r := &Run{by: f, site: site, name: name, stop: stop, done: make(chan struct{}), soon: make(chan struct{}, 1), once: make(chan struct{})}
	s, err := r.seen(ctx)
	if err == nil {
		err = r.load(s)
	}
	if err != nil {
		stop()
		return nil, err
	}
	r.arrived(s)
	r.arrival.Analysing = true
	go r.follow(following)
	return r, nil
}

// Close ends the run. An analysis that goes on is broken off.
func (r *Run) Close() {
	r.stop()
	<-r.done
}

// Ready is closed after the first analysis, or when it has failed.
func (r *Run) Ready() <-chan struct{} { return r.once }

// Done is closed when the run is closed.
func (r *Run) Done() <-chan struct{} { return r.done }

// AnalyseSoon asks for an analysis.
func (r *Run) AnalyseSoon() {
	select {
	case r.soon <- struct{}{}:
	default: // one is wanted already
	}
}

// Site returns the name of the run's site.
func (r *Run) Site() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.siteName
}

// Run returns the run as its newest run file describes it.
func (r *Run) Run() *run.Run {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.run
}

// History returns what the newest analysis found; nil = there was none.
func (r *Run) History() *history.History {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.history
}

// Arrival returns what is known of the arrival of the readings.
func (r *Run) Arrival() Arrival {
	r.mu.Lock()
	defer r.mu.Unlock()
	a := r.arrival
	a.Silent = r.by.c.Now().Sub(a.Heard) > fleet.SilentAfter
	return a
}

// reading calls a function with a reader of the run's site.
func (r *Run) reading(ctx context.Context, do func(*archive.Reader) error) error {
	return r.by.c.Use(ctx, func(db *postgres.DB) error {
		reader, err := archive.OfSite(ctx, db, r.site)
		if err != nil {
			return err
		}
		return do(reader)
	})
}
